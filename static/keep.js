// Report entry keeps itself: each change of a field goes to the server as a draft, so that a flat battery or a lost tab
// loses nothing. What the server has not got yet lies on this device until it has, under the person who typed it, and is
// sent when the network is back. The form says where to in `data-keep`, whose it is in `data-owner` and which draft in
// `data-draft`; what there is to say stands in `data-kept`. A worker (away.js) opens the sheet again without a network;
// such a sheet says so with `data-away` and is older than what the server last said, which therefore lies here as well.

const PAUSE = 600;
const AGAIN = 15000;
const IDLE = 10 * 60 * 1000;
const DRAFTS = "draft:";
const SEEN = "seen:";
const SHEETS = "sheets-of:";

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

const keys = (store, begin = [DRAFTS, SEEN]) => Object.keys(store).filter((key) => begin.some((b) => key.startsWith(b)));

// Sheets of entry that the worker kept, of everybody but this person.
async function forgetSheets(owner) {
  if (!("caches" in window)) return;
  try {
    for (const name of await caches.keys()) {
      if (name.startsWith(SHEETS) && name !== `${SHEETS}${owner}`) await caches.delete(name);
    }
  } catch {
    // Nothing is kept then.
  }
}

async function sendWorkersAway() {
  if (!("serviceWorker" in navigator)) return;
  try {
    for (const registration of await navigator.serviceWorker.getRegistrations()) await registration.unregister();
  } catch {
    // There are none then.
  }
}

// The worker needs a safe connection (TLS, or this very machine); without it the sheet does not open again by itself.
async function callWorker(form) {
  if (isShared() || !("serviceWorker" in navigator)) return;
  try {
    await navigator.serviceWorker.register("/static/away.js", { scope: "/my/" });
    const { active } = await navigator.serviceWorker.ready;
    const here = location.href.replace(/#.*/, "");
    active.postMessage({ keep: form.dataset.draft.split("-").length > 2 ? [here, form.dataset.keep + location.search] : [here] });
  } catch {
    // A browser without workers keeps what is typed all the same.
  }
}

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
    forgetSheets(null);
    sendWorkersAway();
    leaveWhenIdle(root);
    return;
  }
  const form = root.querySelector("form[data-owner]");
  const owner = form?.dataset.owner ?? root.body?.dataset.person;
  if (owner) {
    device((store) => {
      for (const key of keys(store)) if (key.split(":")[1] !== owner) store.removeItem(key);
    });
    forgetSheets(owner);
  }
  root.querySelector("form[action='/sign-out']")?.addEventListener("submit", (event) => {
    const left = device((store) => keys(store, [DRAFTS]), []);
    if (left.length > 0 && !window.confirm("Numbers on this device have not reached the server yet. Sign out and lose them?")) {
      event.preventDefault();
      return;
    }
    device((store) => keys(store).forEach((key) => store.removeItem(key)));
    forgetSheets(null);
  });
}

// What lies on the device of one attempt: fields that the server has not got, and what each was typed over.
function leftOf(key) {
  const empty = { fields: {}, base: {} };
  return device((store) => JSON.parse(store.getItem(key) ?? "null") ?? empty, empty);
}

function layLeft(key, left) {
  device((store) => {
    if (Object.keys(left.fields).length === 0) store.removeItem(key);
    else store.setItem(key, JSON.stringify(left));
  });
}

function keepOne(form) {
  const said = form.querySelector("[data-kept]");
  const base = form.elements.namedItem("base");
  // The sheet with all numbers and those with one number are of one draft.
  const draft = form.dataset.draft.split("-").slice(0, 2).join("-");
  const key = `${DRAFTS}${form.dataset.owner}:${draft}`;
  const seen = `${SEEN}${form.dataset.owner}:${draft}`;
  const away = document.body.hasAttribute("data-away");
  const fields = () => [...form.querySelectorAll("[data-column], [name^='s-'], [name='remarks'], [name='plate'], [data-call]")];
  const text = (field) => (field.type === "radio" && !field.checked ? null : field.value);
  let known = JSON.parse(base?.value || "{}");
  const laid = new Set();
  let waiting = 0;
  let sending = false;
  let again = false;

  const was = (name) => known[name]?.[1] ?? "";
  const say = (words) => { if (said) said.textContent = words; };
  const put = (field, value) => {
    if (field.type === "radio") field.checked = field.value === value;
    else field.value = value;
  };

  // On the device: what differs, and what it was typed over. Fields of other sheets of this draft are left as they lie.
  const lay = () => {
    const left = leftOf(key);
    let own = 0;
    for (const field of fields()) {
      const { name } = field;
      const value = text(field);
      if (value === null) continue;
      if (value !== was(name)) {
        left.fields[name] = value;
        left.base[name] = known[name] ?? [0, ""];
        laid.add(name);
        own += 1;
      } else if (laid.has(name) || left.fields[name] === value) {
        delete left.fields[name];
        delete left.base[name];
        laid.delete(name);
      }
    }
    layLeft(key, left);
    return isShared() ? own : Object.keys(left.fields).length;
  };

  const take = (answer, sent) => {
    const next = JSON.parse(answer.base);
    const left = leftOf(key);
    for (const name of Object.keys(left.fields)) {
      if (left.fields[name] !== sent.get(name)) continue;
      delete left.fields[name];
      delete left.base[name];
    }
    layLeft(key, left);
    device((store) => store.setItem(seen, answer.base));
    let partner = 0;
    for (const field of fields()) {
      const value = text(field);
      const now = answer.fields[field.name] ?? "";
      if (value === null ? now !== field.value : value === now) continue;
      // A field that was typed into since, or is in hand, is left alone, and stays what it was typed over: whoever is at
      // it has not seen what a partner wrote there.
      if (field === document.activeElement || (value !== null && sent.has(field.name) && sent.get(field.name) !== value)) {
        next[field.name] = known[field.name] ?? [0, ""];
        continue;
      }
      put(field, now);
      partner += 1;
    }
    known = next;
    if (base) base.value = JSON.stringify(known);
    const two = answer.two.map((name) => name.split("-").slice(1).join("-"));
    const asks = two.length === 0 ? "" : ` You and your partner wrote two things at ${[...new Set(two)].join(", ")}: open the page again to choose.`;
    say(`${answer.kept}${partner > 0 && two.length === 0 ? " Your partner's numbers are here too." : ""}${asks}`);
  };

  const sheet = () => {
    const typed = new FormData(form);
    for (const name of ["table", "evidence", "pasted"]) typed.delete(name);
    const left = leftOf(key);
    for (const [name, value] of Object.entries(left.fields)) if (!typed.has(name)) typed.set(name, value);
    typed.set("do", "keep");
    if (base) typed.set("base", JSON.stringify({ ...known, ...left.base }));
    return typed;
  };

  const unsent = (count) => {
    if (isShared()) {
      say("Not at the server yet: it does not answer. Leave this page open: nothing is kept on a device that many people use. It is sent by itself.");
    } else say(`Not at the server yet: it does not answer. ${count === 1 ? "1 entry is" : `${count} entries are`} kept on this device and sent by themselves.`);
    clearTimeout(waiting);
    waiting = setTimeout(send, AGAIN);
  };

  const send = async () => {
    if (sending) { again = true; return; }
    sending = true;
    const typed = sheet();
    try {
      const answer = await fetch(form.dataset.keep, { method: "POST", body: typed, headers: { "x-keep": "1" }, redirect: "error" });
      if (answer.ok) {
        take(await answer.json(), typed);
        lay();
        form.dispatchEvent(new Event("kept"));
      } else if (answer.status === 401) {
        lay();
        say(isShared()
          ? "You are signed out. Sign in on another page of this browser, then change a number here: it is sent with the others."
          : "You are signed out. What you typed is kept on this device: sign in again and open this sheet.");
      } else if (answer.status < 500) {
        lay();
        say("The server does not take this as it stands. Send the sheet with its button to see what to mend.");
      } else {
        throw new Error(String(answer.status));
      }
    } catch {
      unsent(lay());
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

  // A sheet that the worker kept is older than what the server said since.
  const later = away ? device((store) => JSON.parse(store.getItem(seen) ?? "{}"), {}) : {};
  for (const [name, value] of Object.entries(later)) {
    if (value[0] <= (known[name]?.[0] ?? 0)) continue;
    for (const field of fields()) if (field.name === name) put(field, value[1]);
    known[name] = value;
  }

  // What was left here, as by a flat battery: back into its fields, over what it was typed over, and on its way.
  const left = leftOf(key);
  let found = 0;
  for (const field of fields()) {
    const value = left.fields[field.name];
    if (value === undefined) continue;
    if (field.type === "radio" ? field.value !== value || field.checked : field.value === value) continue;
    put(field, value);
    known[field.name] = left.base[field.name] ?? [0, ""];
    found += 1;
  }
  if (base) base.value = JSON.stringify(known);
  const back = found === 0 ? "" : `${found === 1 ? "1 entry" : `${found} entries`} from this device ${found === 1 ? "is" : "are"} back in place.`;
  if (location.hash === "#not-sent") {
    say("The server did not answer, and nothing was handed in. What you typed is kept on this device: send it again when the network is back. A photo or a file has to be chosen again.");
  } else if (away) {
    say(`The server does not answer. This sheet is the one that this device kept; what you type is kept here too and sent by itself. ${back}`.trim());
  } else if (back) say(back);
  if (Object.keys(left.fields).length > 0) soon();
  else lay();
  callWorker(form);
}

export function keepDrafts(root) {
  forgetOthers(root);
  for (const form of root.querySelectorAll("form[data-keep]")) keepOne(form);
}
