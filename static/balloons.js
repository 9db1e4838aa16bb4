// Balloons tie drawing and table together: what is touched, pointed at or reached by keyboard on one shows on the other.
// On the drawing a balloon is `#b-NO`, its leader carries `data-b="NO"`; in the table its line is `#c-NO`.

const TOUCHED = "is-touched";

function numberOf(element) {
  const mark = element.closest("[id^='b-'], [id^='c-'], a[href^='#b-'], a[href^='#c-'], [data-b]");
  if (!mark) return null;
  if (mark.dataset.b) return mark.dataset.b;
  if (/^[bc]-/.test(mark.id)) return mark.id.slice(2);
  return mark.getAttribute("href").slice(3);
}

function partsOf(root, no) {
  const named = [`b-${no}`, `c-${no}`].map((id) => root.getElementById(id)).filter(Boolean);
  const leaders = [...root.querySelectorAll("[data-b]")].filter((e) => e.dataset.b.split(" ").includes(no));
  return [...named, ...leaders];
}

export function tieBalloons(root) {
  let shown = null;
  const show = (no) => {
    if (no === shown) return;
    for (const part of root.querySelectorAll(`.${TOUCHED}`)) part.classList.remove(TOUCHED);
    shown = no;
    if (no !== null) for (const part of partsOf(root, no)) part.classList.add(TOUCHED);
  };
  const follow = (event) => {
    if (event.target instanceof Element) show(numberOf(event.target));
  };
  root.addEventListener("pointerover", follow);
  root.addEventListener("focusin", follow);
}
