// A sheet that changes by itself (the bench): every half minute its tables are fetched anew and put in place, without
// moving the page, while it is looked at. Without this script the link on the sheet does the same.

const EVERY_MS = 30000;

export function lookAgain(page) {
  const place = page.querySelector("[data-look-again]");
  if (!place) return;
  setInterval(async () => {
    // Not while something in it is in hand, nor while nobody looks.
    if (page.hidden || place.contains(page.activeElement)) return;
    try {
      const answer = await fetch(location.pathname, { headers: { accept: "text/html" } });
      if (!answer.ok || answer.redirected) return;
      const fresh = new DOMParser().parseFromString(await answer.text(), "text/html").querySelector("[data-look-again]");
      if (fresh) place.replaceChildren(...fresh.childNodes);
    } catch {
      // The network is away; the next time will do.
    }
  }, EVERY_MS);
}
