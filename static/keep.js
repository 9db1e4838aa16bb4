// Report entry keeps itself: each change of a field goes to the server as a draft, so that a flat battery or a lost tab
// loses nothing. The form says where in `data-keep`; what the server answers stands in `data-kept`.

const PAUSE = 600;

export function keepDrafts(root) {
  for (const form of root.querySelectorAll("form[data-keep]")) {
    const said = form.querySelector("[data-kept]");
    let waiting = 0;
    let sending = Promise.resolve();
    const send = async () => {
      const typed = new FormData(form);
      typed.delete("table");
      typed.set("do", "keep");
      try {
        const answer = await fetch(form.dataset.keep, { method: "POST", body: typed, headers: { "x-keep": "1" }, redirect: "error" });
        if (!answer.ok) throw new Error(String(answer.status));
        if (said) said.textContent = await answer.text();
        form.dispatchEvent(new Event("kept"));
      } catch {
        if (said) said.textContent = "Not kept yet: the server does not answer. What is typed is still on this page; it is tried again at the next change.";
      }
    };
    form.addEventListener("change", (event) => {
      if (!event.target.matches("[data-column]")) return;
      clearTimeout(waiting);
      waiting = setTimeout(() => { sending = sending.then(send); }, PAUSE);
    });
    form.addEventListener("submit", () => clearTimeout(waiting));
  }
}
