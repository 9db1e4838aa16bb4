// Numbers that were typed and not yet sent are not lost by a stray tap: the browser asks before it leaves the page.
// A form asks for this with `data-guard`. Once it is sent, or once nothing differs from what the page came with, the
// page can be left without a word.

function written(form) {
  const parts = [];
  for (const [name, value] of new FormData(form)) {
    parts.push([name, value instanceof File ? `${value.name}:${value.size}` : value]);
  }
  return JSON.stringify(parts);
}

export function guardUnsaved(root) {
  const forms = [...root.querySelectorAll("form[data-guard]")];
  if (forms.length === 0) return;
  const before = new Map(forms.map((form) => [form, written(form)]));
  const sent = new Set();
  for (const form of forms) {
    form.addEventListener("submit", () => sent.add(form));
    // A page that saves as it goes says so, and what it saved is what the page now came with.
    form.addEventListener("kept", () => before.set(form, written(form)));
  }
  window.addEventListener("pageshow", () => sent.clear());
  window.addEventListener("beforeunload", (event) => {
    if (sent.size > 0) return;
    if (forms.some((form) => written(form) !== before.get(form))) event.preventDefault();
  });
}
