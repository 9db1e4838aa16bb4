// The review queue by single keys, for whoever wants them: next, previous, done, the word on a fault, and straight to the
// fields. They are off until they are asked for, and this browser remembers that; in a field every key writes, and Escape
// leaves it.

const REMEMBERED = "review-keys";

function remembered() {
  try {
    return localStorage.getItem(REMEMBERED) === "on";
  } catch {
    return false;
  }
}

function remember(on) {
  try {
    localStorage.setItem(REMEMBERED, on ? "on" : "off");
  } catch {
    // A browser that keeps nothing asks again on the next page.
  }
}

export function reviewByKeys(root) {
  const queue = root.querySelector("[data-queue]");
  const box = queue?.querySelector("[data-keys-on]");
  if (!box) return;
  queue.querySelector("[data-keys]").hidden = false;
  box.checked = remembered();
  box.addEventListener("change", () => remember(box.checked));
  const deeds = {
    n: () => queue.querySelector("[data-next]")?.click(),
    p: () => queue.querySelector("[data-previous]")?.click(),
    d: () => root.querySelector("[data-done]")?.click(),
    c: () => root.querySelector("#faults button[value^='confirm:']")?.click(),
    r: () => root.querySelector("#faults button[value^='reject:']")?.click(),
    a: () => root.querySelector("#review textarea[name^='answer-']")?.focus(),
    h: () => root.querySelector("form[action$='/hand-marks'] input")?.focus(),
    m: () => root.querySelector("#f-mark")?.focus(),
    t: () => root.querySelector("#f-remark")?.focus(),
  };
  root.addEventListener("keydown", (event) => {
    const writes = event.target.closest?.("input:not([type=checkbox]), textarea, select");
    if (box.checked && writes && event.key === "Escape") event.target.blur();
    if (!box.checked || writes || event.ctrlKey || event.altKey || event.metaKey || event.isComposing) return;
    const deed = deeds[event.key];
    if (!deed) return;
    event.preventDefault();
    deed();
  });
}
