// Arrow keys in a gradebook: from link to link, row by row and column by column; Home and End to the ends of a row. Up and
// down keep to their column, also past rows that have nothing to open in it.

function links(row) {
  return [...row.cells].map((cell) => cell.querySelector("a"));
}

function near(row, column) {
  const all = links(row);
  for (let off = 0; off < all.length; off += 1) {
    const found = all[column - off] ?? all[column + off];
    if (found) return found;
  }
  return null;
}

function along(row, column, step) {
  const all = links(row);
  for (let at = column + step; at >= 0 && at < all.length; at += step) if (all[at]) return all[at];
  return null;
}

export function moveInGrid(root) {
  for (const table of root.querySelectorAll("[data-grid]")) {
    let kept = { at: null, column: 0 };
    table.addEventListener("keydown", (event) => {
      const cell = event.target.closest("td, th");
      if (!cell || event.ctrlKey || event.altKey || event.metaKey || event.shiftKey) return;
      const row = cell.parentElement;
      const rows = [...table.rows];
      const column = kept.at === event.target ? kept.column : cell.cellIndex;
      const next = (step) => {
        for (let at = rows.indexOf(row) + step; at >= 0 && at < rows.length; at += step) {
          const found = near(rows[at], column);
          if (found) return found;
        }
        return null;
      };
      const ways = {
        ArrowDown: () => next(1),
        ArrowUp: () => next(-1),
        ArrowRight: () => along(row, cell.cellIndex, 1),
        ArrowLeft: () => along(row, cell.cellIndex, -1),
        Home: () => along(row, -1, 1),
        End: () => along(row, row.cells.length, -1),
      };
      const target = ways[event.key]?.();
      if (!target) return;
      event.preventDefault();
      kept = { at: target, column: /^Arrow(Up|Down)$/.test(event.key) ? column : target.closest("td, th").cellIndex };
      target.focus();
    });
  }
}
