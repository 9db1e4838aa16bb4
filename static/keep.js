// Report entry keeps itself: each change of a field goes to the server as a draft, so that a flat battery or a lost tab
// loses nothing. What the server has not got yet lies on this device until it has, under the person who typed it, and is
// sent when the network is back. The form says where to in `data-keep`, whose it is in `data-owner` and which draft in
// `data-draft`; what there is to say stands in `data-kept`.

const PAUSE = 600;
const AGAIN = 15000;
const IDLE = 10 * 60 * 1000;
const DRAFTS = "draft:";

// On a device that many people use nothing that is typed stays behind; the server has the draft all the same.
const isShared = () => document.cookie.split("; ").includes("shared-device=1");

function device(work, otherwise = null) {
  if (isShared()) return otherwise;
  try {
    return work(localStorage);
  } catch {
    // A browser that keeps nothing: the page itself still holds what is typed.
    return otherwise;
  }
}

const keys = (store) => Object.keys(store).filter((key) => key.startsWith(DRAFTS));

// After ten minutes without a touch the sheet goes from the screen too, as the session goes from the server.
function leaveWhenIdle(root) {
  const out = root.querySelector("form[action='/sign-out']");
  if (!out) return;
  let waiting = 0;
  const again = () => {
    clearTimeout(waiting);
    waiting = setTimeout(() => {
      for (const form of root.querySelectorAll("form[data-guard]")) form.dispatchEvent(new Event("kept"));
      out.submit();
    }, IDLE);
  };
  for (const touch of ["pointerdown", "keydown", "input", "scroll"]) window.addEventListener(touch, again, { passive: true });
  again();
}

// What another person typed on this device is not left to the next one; signing out takes it along.
export function forgetOthers(root) {
  if (isShared()) {
    try {
      for (const key of keys(localStorage)) localStorage.removeItem(key);
    } catch {
      // Nothing is kept then.
    }
    leaveWhenIdle(root);
    return;
  }
  const form = root.querySelector("form[data-owner]");
  const owner = form?.dataset.owner ?? root.body?.dataset.person;
  if (owner) {
    device((store) => {
      for (const key of keys(store)) if (!key.startsWith(`${DRAFTS}${owner}:`)) store.removeItem(key);
    });
  }
  root.querySelector("form[action='/sign-out']")?.addEventListener("submit", (event) => {
    const left = device((store) => keys(store), []);
    if (left.length === 0) return;
    if (!window.confirm("Numbers on this device have not reached the server yet. Sign out and lose them?")) {
      event.preventDefault();
      return;
    }
    device((store) => left.forEach((key) => store.removeItem(key)));
  });
}

function keepOne(form) {
  const said = form.querySelector("[data-kept]");
  const base = form.elements.namedItem("base");
  const key = `${DRAFTS}${form.dataset.owner}:${form.dataset.draft}`;
  const fields = () => [...form.querySelectorAll("[data-column], [name^='s-'], [name='remarks'], [name='plate'], [data-call]")];
  const text = (field) => (field.type === "radio" && !field.checked ? null : field.value);
  let known = JSON.parse(base?.value || "{}");
  let waiting = 0;
  let sending = false;
  let again = false;

  const was = (name) => known[name]?.[1] ?? "";
  const changed = () => {
    const all = {};
    for (const field of fields()) {
      const value = text(field);
      if (value !== null && value !== was(field.name)) all[field.name] = value;
    }
    return all;
  };
  const say = (words) => { if (said) said.textContent = words; };

  // On the device: what differs, and what it was typed over.
  const lay = () => {
    const all = changed();
    device((store) => {
      if (Object.keys(all).length === 0) store.removeItem(key);
      else store.setItem(key, JSON.stringify({ fields: all, base: known }));
    });
    return Object.keys(all).length;
  };

  const put = (field, value) => {
    if (field.type === "radio") field.checked = field.value === value;
    else field.value = value;
  };

  const take = (answer, sent) => {
    known = JSON.parse(answer.base);
    if (base) base.value = answer.base;
    let partner = 0;
    for (const field of fields()) {
      const value = text(field);
      const now = answer.fields[field.name] ?? "";
      // A field that was typed into since is left alone, and goes with the next one.
      if (value === null ? now !== field.value : value === now || field === document.activeElement) continue;
      if (value !== null && sent.has(field.name) && sent.get(field.name) !== value) continue;
      put(field, now);
      partner += 1;
    }
    const two = answer.two.map((name) => name.split("-").slice(1).join("-"));
    const asks = two.length === 0 ? "" : ` You and your partner wrote two things at ${[...new Set(two)].join(", ")}: open the page again to choose.`;
    say(`${answer.kept}${partner > 0 && two.length === 0 ? " Your partner's numbers are here too." : ""}${asks}`);
  };

  const send = async () => {
    if (sending) { again = true; return; }
    sending = true;
    const typed = new FormData(form);
    for (const name of ["table", "evidence", "pasted"]) typed.delete(name);
    typed.set("do", "keep");
    if (base) typed.set("base", JSON.stringify(known));
    try {
      const answer = await fetch(form.dataset.keep, { method: "POST", body: typed, headers: { "x-keep": "1" }, redirect: "error" });
      if (!answer.ok) throw new Error(String(answer.status));
      take(await answer.json(), typed);
      lay();
      form.dispatchEvent(new Event("kept"));
    } catch {
      const count = lay();
      if (isShared()) {
        say("Not at the server yet: it does not answer. Leave this page open: nothing is kept on a device that many people use. It is sent by itself.");
      } else say(`Not at the server yet: it does not answer. ${count === 1 ? "1 entry is" : `${count} entries are`} kept on this device and sent by themselves.`);
      clearTimeout(waiting);
      waiting = setTimeout(send, AGAIN);
    } finally {
      sending = false;
      if (again) { again = false; send(); }
    }
  };
  const soon = () => {
    lay();
    clearTimeout(waiting);
    waiting = setTimeout(send, PAUSE);
  };

  form.addEventListener("input", (event) => { if (fields().includes(event.target)) lay(); });
  form.addEventListener("change", (event) => { if (fields().includes(event.target)) soon(); });
  form.addEventListener("submit", () => clearTimeout(waiting));
  window.addEventListener("online", () => { if (lay() > 0) send(); });

  // What was left here, as by a flat battery: back into its fields, over what it was typed over, and on its way.
  const left = device((store) => JSON.parse(store.getItem(key) ?? "null"));
  if (left) {
    let found = 0;
    for (const field of fields()) {
      const value = left.fields[field.name];
      if (value === undefined || (field.type === "radio" ? field.value !== value || field.checked : field.value === value)) continue;
      put(field, value);
      known[field.name] = left.base[field.name] ?? [0, ""];
      found += 1;
    }
    if (found > 0) {
      say(`${found === 1 ? "1 entry" : `${found} entries`} from this device ${found === 1 ? "is" : "are"} back in place.`);
      soon();
    } else {
      lay();
    }
  }
}

export function keepDrafts(root) {
  forgetOthers(root);
  for (const form of root.querySelectorAll("form[data-keep]")) keepOne(form);
}
