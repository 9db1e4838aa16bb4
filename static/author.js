// The authoring sheet follows what is typed: each change is sent, kept as a step, and what the server answers (drawing,
// limits, what is to mend) takes its place on the page. Fields that are being typed in are never touched. Without this
// script every button does the same with a page of its own.

const PAUSE = 350;
const REST = 1500;

const form = document.querySelector("form[data-author]");
if (form) follow(form);

function follow(form) {
  let waiting = 0;
  let sending = Promise.resolve();
  // Fields that were typed in and not yet sent, by id.
  const typing = new Map();
  const said = () => document.getElementById("kept-now");

  const send = async (button) => {
    const typed = new FormData(form);
    typed.set("do", button?.value ?? "draw");
    const sent = new Map(typing);
    typing.clear();
    // An order changes which fields there are: nothing is typed into those that go away.
    const focused = document.activeElement?.id;
    if (button) form.inert = true;
    let answer;
    try {
      answer = await fetch(form.getAttribute("action"), { method: "POST", body: new URLSearchParams(typed) });
    } catch {
      for (const [id, value] of sent) if (!typing.has(id)) typing.set(id, value);
      form.inert = false;
      document.getElementById(focused)?.focus();
      said().textContent = "Not kept yet: the server does not answer. What is typed is still on this page; it is tried again at the next change.";
      return;
    }
    const here = new URL(answer.url);
    if (answer.status === 409 || !here.pathname.startsWith(form.getAttribute("action")) || (!answer.ok && answer.status !== 422)) {
      // Published, signed out, or changed by somebody else: that page says it.
      leaving = true;
      location.assign(answer.url);
      return;
    }
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    form.inert = false;
    said().textContent = "";
    put(page, here, button);
    later_insight();
  };

  const put = (page, here, button) => {
    const next = page.querySelector("form[data-author]");
    if (!next) return;
    if (next.dataset.author === form.dataset.author && !button) {
      patch(next);
      return;
    }
    const open = new Set([...form.querySelectorAll("details[open]")].map((d) => d.id));
    const scroll = window.scrollY;
    const at_work = document.activeElement?.id;
    const caret = document.activeElement?.selectionStart;
    form.replaceChildren(...next.childNodes);
    form.dataset.author = next.dataset.author;
    for (const details of form.querySelectorAll("details")) if (open.has(details.id)) details.open = true;
    const at = here.searchParams.get("at");
    // What was typed while the answer was on its way stays, and goes with the next one.
    for (const [id, value] of typing) {
      const field = document.getElementById(id);
      if (field) field.value = value;
    }
    const wanted = button && at ? firstField(at) : null;
    if (wanted) {
      wanted.closest("details")?.setAttribute("open", "");
      wanted.focus();
      wanted.select?.();
      wanted.closest(".part, section")?.scrollIntoView({ block: "nearest" });
    } else if (button) {
      // Something was taken out: go on at what it belonged to, or where more is added.
      const place = (at && document.getElementById(at)) || form.querySelector("#add button");
      if (place && !place.matches("button")) place.tabIndex = -1;
      place?.focus();
    } else {
      const field = document.getElementById(at_work);
      field?.focus({ preventScroll: true });
      if (typeof caret === "number" && field?.setSelectionRange) field.setSelectionRange(caret, caret);
    }
    if (!button) window.scrollTo({ top: scroll });
  };

  const firstField = (name) => document.getElementById(`f-${name}-0`) ?? document.getElementById(`f-${name}`);

  const patch = (next) => {
    const version = next.querySelector("#f-version");
    form.querySelector("#f-version").value = version.value;
    const open = [...form.querySelectorAll("details[open]")].map((d) => d.id);
    for (const part of next.querySelectorAll("[id^='live-'], [id^='s-'], [id^='follows-']")) {
      const mine = document.getElementById(part.id);
      if (!mine) continue;
      if (mine.matches("button")) mine.disabled = part.disabled;
      else if (mine.innerHTML !== part.innerHTML) mine.replaceChildren(...part.childNodes);
    }
    for (const id of open) document.getElementById(id)?.setAttribute("open", "");
    for (const wrapper of next.querySelectorAll("[id^='w-']")) {
      const mine = document.getElementById(wrapper.id);
      if (!mine || mine.className === wrapper.className) continue;
      mine.className = wrapper.className;
      const wrong = wrapper.classList.contains("wrong");
      for (const input of mine.querySelectorAll("input, select, textarea")) {
        if (wrong) input.setAttribute("aria-invalid", "true");
        else input.removeAttribute("aria-invalid");
      }
      if (wrong) mine.closest("details")?.setAttribute("open", "");
    }
  };

  // What takes longer is asked for when the hands rest.
  let resting = 0;
  let asked = 0;
  const later_insight = () => {
    clearTimeout(resting);
    resting = setTimeout(async () => {
      const mine = (asked += 1);
      try {
        const answer = await fetch(form.querySelector("[data-insight]").dataset.insight);
        if (!answer.ok || mine !== asked) return;
        const page = new DOMParser().parseFromString(await answer.text(), "text/html");
        const place = form.querySelector("[data-insight]");
        if (!place.contains(document.activeElement)) place.replaceChildren(...page.getElementById("insight-found").childNodes);
      } catch { /* The link to the page is still there. */ }
    }, REST);
  };
  later_insight();

  let leaving = false;
  const later = () => {
    clearTimeout(waiting);
    waiting = setTimeout(() => { sending = sending.then(() => send()); }, PAUSE);
  };
  form.addEventListener("input", (event) => {
    if (event.target.id) typing.set(event.target.id, event.target.value);
  });
  form.addEventListener("change", later);
  form.addEventListener("submit", (event) => {
    const button = event.submitter;
    clearTimeout(waiting);
    if (button?.value === "publish") { leaving = true; return; }
    event.preventDefault();
    sending = sending.then(() => send(button?.value === "draw" ? undefined : button));
  });
  // A screen that is locked, or a tab that is left: what stands in the field goes now.
  document.addEventListener("visibilitychange", () => {
    if (document.visibilityState === "hidden" && typing.size > 0) sending = sending.then(() => send());
  });
  window.addEventListener("pageshow", () => { leaving = false; });
  window.addEventListener("beforeunload", (event) => {
    if (typing.size > 0 && !leaving) event.preventDefault();
  });
}
