// A block copied from a spreadsheet, put into a table of fields marked `data-paste`.
//
// Rows of the table hold `data-no="NO"`, its fields `data-column="measured"` or `"call"`. Where the first column of the
// block holds balloon numbers of this sheet, each row goes to its number, in whatever order; otherwise rows go down from
// the field that has the focus. Values stay as they were written. What found no place is said, never dropped in silence.

function cellsOf(text) {
  const rows = text.replace(/\r\n?/g, "\n").replace(/\n$/, "").split("\n");
  return rows.map((row) => row.split("\t").map((cell) => cell.trim()));
}

function putInto(field, value) {
  if (field instanceof HTMLSelectElement) {
    const word = value.toLowerCase();
    const option = [...field.options].find((o) => o.value === word || o.text.trim().toLowerCase() === word);
    if (!option) return false;
    field.value = option.value;
  } else {
    field.value = value;
  }
  field.dispatchEvent(new Event("input", { bubbles: true }));
  field.dispatchEvent(new Event("change", { bubbles: true }));
  return true;
}

function byNumber(table, block) {
  const rowOf = new Map([...table.querySelectorAll("[data-no]")].map((row) => [row.dataset.no, row]));
  const known = block.filter((cells) => rowOf.has(cells[0])).length;
  // One heading row is common; anything less than that is a block without numbers.
  if (block[0].length < 2 || known === 0 || known < block.length - 1) return null;
  const heading = rowOf.has(block[0][0]) ? null : block[0].map((h) => h.toLowerCase());
  const rows = heading ? block.slice(1) : block;
  const columns = heading ?? ["no", "measured", "call"];
  const targets = [];
  for (const cells of rows) {
    for (const [i, value] of cells.entries()) {
      const column = columns[i];
      if (i === 0 || (column !== "measured" && column !== "call")) continue;
      targets.push([rowOf.get(cells[0])?.querySelector(`[data-column="${column}"]`), value]);
    }
  }
  return targets;
}

function byPlace(table, block, start) {
  const rows = [...table.querySelectorAll("[data-no]")];
  const first = rows.indexOf(start.closest("[data-no]"));
  const columns = [...rows[first].querySelectorAll("[data-column]")];
  const left = columns.indexOf(start);
  const targets = [];
  for (const [down, cells] of block.entries()) {
    for (const [right, value] of cells.entries()) {
      const column = columns[left + right]?.dataset.column;
      targets.push([column && rows[first + down]?.querySelector(`[data-column="${column}"]`), value]);
    }
  }
  return targets;
}

function say(table, put, lost) {
  const place = table.querySelector("[data-said]") ?? document.querySelector("[data-said]");
  if (!place) return;
  const values = put === 1 ? "1 value was" : `${put} values were`;
  const rest = lost.length === 0 ? "" : ` No place was found for: ${lost.slice(0, 8).join(", ")}${lost.length > 8 ? ", \u2026" : ""}.`;
  place.textContent = `${values} put in as written.${rest}`;
}

export function takePaste(root) {
  for (const table of root.querySelectorAll("[data-paste]")) {
    table.addEventListener("paste", (event) => {
      const text = event.clipboardData?.getData("text/plain") ?? "";
      const start = event.target.closest("[data-column]");
      const block = cellsOf(text);
      // A single value is an ordinary paste.
      if (!start || (block.length === 1 && block[0].length === 1)) return;
      event.preventDefault();
      let put = 0;
      const lost = [];
      for (const [field, value] of byNumber(table, block) ?? byPlace(table, block, start)) {
        if (value === "") continue;
        if (field && putInto(field, value)) put += 1;
        else lost.push(value);
      }
      say(table, put, lost);
    });
  }
}

// Enter and the arrow keys go up and down a column, as on paper.
export function moveByKeys(root) {
  for (const table of root.querySelectorAll("[data-paste]")) {
    table.addEventListener("keydown", (event) => {
      const field = event.target.closest("input[data-column]");
      const step = { Enter: 1, ArrowDown: 1, ArrowUp: -1 }[event.key];
      if (!field || !step || event.altKey || event.ctrlKey || event.metaKey || event.isComposing) return;
      const column = [...table.querySelectorAll(`[data-column="${field.dataset.column}"]`)];
      const next = column[column.indexOf(field) + (event.shiftKey && event.key === "Enter" ? -1 : step)];
      if (!next) return;
      event.preventDefault();
      next.focus();
      next.select?.();
    });
  }
}
