// Tables of map cells: one tab stop, arrow keys move from cell to cell.
//
// Hook:  table[data-keys=grid]; its <td> are the cells, one of them with tabindex="0" to start at.
//        The starting cell is marked and brought into sight within its frame.
// Event: "cell:point" on document, detail {grid, row, col}, when a cell is focused or clicked.
//        Charts with data-follow="<id of the table>" answer to it, and send it themselves when one of their cells is clicked.

function cellAt(table, row, col) {
  return table.tBodies[0]?.rows[row]?.querySelectorAll("td")[col] ?? null;
}

function placeOf(cell) {
  const row = cell.parentElement;
  return { row: [...row.parentElement.rows].indexOf(row), col: [...row.querySelectorAll("td")].indexOf(cell) };
}

function mark(table, row, col) {
  const cell = cellAt(table, row, col);
  if (!cell) return;
  for (const old of table.querySelectorAll("[data-pointed]")) delete old.dataset.pointed;
  for (const old of table.querySelectorAll("td[tabindex='0']")) old.tabIndex = -1;
  cell.tabIndex = 0;
  cell.dataset.pointed = "";
  cell.parentElement.querySelector("th").dataset.pointed = "";
  const heading = table.tHead?.rows[0]?.cells[col + 1];
  if (heading) heading.dataset.pointed = "";
}

document.addEventListener("cell:point", (event) => {
  const table = document.getElementById(event.detail.grid);
  if (table?.matches("[data-keys=grid]")) mark(table, event.detail.row, event.detail.col);
});

function point(cell) {
  const table = cell.closest("table[data-keys=grid]");
  document.dispatchEvent(new CustomEvent("cell:point", { detail: { grid: table.id, ...placeOf(cell) } }));
}

document.addEventListener("focusin", (event) => {
  const cell = event.target.closest?.("table[data-keys=grid] td");
  if (cell) point(cell);
});

document.addEventListener("click", (event) => {
  event.target.closest?.("table[data-keys=grid] td")?.focus();
});

document.addEventListener("keydown", (event) => {
  const cell = event.target.closest?.("table[data-keys=grid] td");
  if (!cell || event.altKey || event.metaKey) return;
  const table = cell.closest("table");
  const { row, col } = placeOf(cell);
  const lastRow = table.tBodies[0].rows.length - 1;
  const lastCol = cell.parentElement.querySelectorAll("td").length - 1;
  const to = {
    ArrowUp: [row - 1, col],
    ArrowDown: [row + 1, col],
    ArrowLeft: [row, col - 1],
    ArrowRight: [row, col + 1],
    Home: [event.ctrlKey ? 0 : row, 0],
    End: [event.ctrlKey ? lastRow : row, lastCol],
    PageUp: [0, col],
    PageDown: [lastRow, col],
  }[event.key];
  if (!to) return;
  event.preventDefault();
  cellAt(table, ...to)?.focus();
});

// Only the table's own frame is scrolled: the page stays where it is.
function start(table) {
  const cell = table.querySelector("td[tabindex='0']");
  if (!cell || table.querySelector("td[data-pointed]")) return;
  const { row, col } = placeOf(cell);
  mark(table, row, col);
  const frame = table.closest(".map-frame");
  if (!frame) return;
  const left = table.tBodies[0].rows[row].querySelector("th").offsetWidth;
  const top = table.tHead.offsetHeight;
  frame.scrollLeft = Math.max(0, cell.offsetLeft + cell.offsetWidth / 2 - left - (frame.clientWidth - left) / 2);
  frame.scrollTop = Math.max(0, cell.offsetTop + cell.offsetHeight / 2 - top - (frame.clientHeight - top) / 2);
}

function equip(scope) {
  for (const table of scope.querySelectorAll("table[data-keys=grid]")) start(table);
}

equip(document);
document.addEventListener("htmx:load", (event) => equip(event.target.parentElement ?? document));
