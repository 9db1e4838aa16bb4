// The worker of report entry. It lets the entry pages of the person who is signed in open again where there is no
// network, as after a flat battery in a corner of the shop. What was typed lies with the page's own script (keep.js);
// this keeps only the sheets to type into, and only those of which the server says so, with whose they are.

const SHELL = "shell";
const SHEETS = "sheets-of:";
// A network that does not answer in this time is as good as none, where there is a sheet to show.
const PATIENCE = 4000;
const FILES = [
  "/static/again.js", "/static/balloons.js", "/static/grid.js", "/static/guard.js", "/static/keep.js", "/static/keypad.js",
  "/static/paste.js", "/static/review.js", "/static/sheet.js", "/static/sheet.css", "/static/mark.svg",
  "/static/fonts/overpass-latin.woff2", "/static/fonts/overpass-mono-latin.woff2",
];

self.addEventListener("install", (event) => {
  event.waitUntil(caches.open(SHELL).then((shell) => shell.addAll(FILES)).then(() => self.skipWaiting()));
});
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));

const isEntry = (url) => /^\/my\/\d+\/entry(\/[^/]+)?$/.test(url.pathname);

async function sheets() {
  return (await caches.keys()).filter((name) => name.startsWith(SHEETS));
}

// Under one person at a time: whoever signed in later has the device now.
async function keep(url, answer) {
  const person = answer.headers.get("x-keep-for");
  const name = `${SHEETS}${person}`;
  for (const other of await sheets()) if (other !== name) await caches.delete(other);
  await (await caches.open(name)).put(url, answer);
}

// The sheet of an attempt that is over, with its numbers.
async function forget(path) {
  for (const name of await sheets()) {
    const cache = await caches.open(name);
    for (const request of await cache.keys()) {
      const at = new URL(request.url).pathname;
      if (at === path || at.startsWith(`${path}/`)) await cache.delete(request);
    }
  }
}

// The sheet as it was, told apart so that its script says where it comes from.
async function kept(url) {
  for (const name of await sheets()) {
    const answer = await (await caches.open(name)).match(url);
    if (!answer) continue;
    const headers = new Headers(answer.headers);
    headers.delete("content-encoding");
    headers.delete("content-length");
    return new Response((await answer.text()).replace("<body", "<body data-away"), { headers });
  }
  return null;
}

const later = () => new Promise((resolve) => { setTimeout(() => resolve(null), PATIENCE); });

async function look(event, url) {
  const asked = fetch(event.request);
  event.waitUntil(asked.then((answer) => {
    if (answer.ok && answer.headers.has("x-keep-for")) return keep(url, answer.clone());
    return answer.status >= 400 && answer.status < 500 ? forget(url.pathname) : null;
  }).catch(() => null));
  const answer = await Promise.race([asked.catch(() => null), later()]);
  // A proxy that speaks for a server that is not there says so with these.
  if (answer && ![502, 503, 504].includes(answer.status)) return answer;
  return (await kept(url)) ?? asked;
}

// A form that was not sent leads to the sheet with all numbers, and says so there. Nothing is lost: it lies on the device.
async function send(event, url) {
  try {
    const answer = await fetch(event.request);
    if (answer.type === "opaqueredirect" && url.pathname.endsWith("/entry")) await forget(url.pathname);
    return answer;
  } catch {
    const all = url.pathname.replace(/\/entry.*$/, "/entry");
    return Response.redirect(`${url.origin}${all}${url.search}#not-sent`, 303);
  }
}

async function file(request) {
  try {
    const answer = await fetch(request);
    if (answer.ok) await (await caches.open(SHELL)).put(request, answer.clone());
    return answer;
  } catch (away) {
    const answer = await (await caches.open(SHELL)).match(request);
    if (answer) return answer;
    throw away;
  }
}

self.addEventListener("fetch", (event) => {
  const url = new URL(event.request.url);
  if (url.origin !== self.location.origin) return;
  url.hash = "";
  if (event.request.mode === "navigate" && isEntry(url)) {
    event.respondWith(event.request.method === "POST" ? send(event, url) : look(event, url));
  } else if (event.request.method === "GET" && url.pathname.startsWith("/static/")) {
    event.respondWith(file(event.request));
  }
});

// The page that brought this worker came without it, and the sheet with all numbers may never have been opened.
self.addEventListener("message", (event) => {
  const all = (event.data?.keep ?? []).map((href) => new URL(href, self.location.origin));
  event.waitUntil(Promise.all(all.filter(isEntry).map(async (url) => {
    url.hash = "";
    if (await caches.match(url)) return;
    const answer = await fetch(url, { credentials: "same-origin", redirect: "error" });
    if (answer.ok && answer.headers.has("x-keep-for")) await keep(url, answer);
  })).catch(() => null));
});
