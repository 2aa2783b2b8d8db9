// Sorting of tables whose rows are all on the page.
//
// Hooks: table[data-sortable]; th[data-sort-kind=text|number] becomes a button;
//        td/th[data-sort="…"] gives the value to sort by where it is not the cell's text. Empty values stay last either way.

const collator = new Intl.Collator(undefined, { numeric: true, sensitivity: "base" });

function valueOf(row, column) {
  const cell = row.cells[column];
  return (cell?.dataset.sort ?? cell?.textContent ?? "").trim();
}

function numberOf(value) {
  const parsed = Number.parseFloat(value.replace("−", "-").replace(/[\s\u00a0\u202f]/g, ""));
  return Number.isNaN(parsed) ? null : parsed;
}

function compare(kind, a, b) {
  if (kind !== "number") return collator.compare(a, b);
  return numberOf(a) - numberOf(b);
}

const missing = (kind, value) => (kind === "number" ? numberOf(value) === null : value === "");

function sort(header) {
  const column = header.cellIndex;
  const kind = header.dataset.sortKind;
  const turn = header.getAttribute("aria-sort") === "ascending" ? -1 : 1;
  for (const other of header.parentElement.cells) other.removeAttribute("aria-sort");
  header.setAttribute("aria-sort", turn > 0 ? "ascending" : "descending");
  const body = header.closest("table").tBodies[0];
  const rows = [...body.rows].map((row) => ({ row, value: valueOf(row, column) }));
  rows.sort((a, b) => {
    const gone = missing(kind, a.value) - missing(kind, b.value);
    return gone || turn * compare(kind, a.value, b.value) || 0;
  });
  body.append(...rows.map(({ row }) => row));
}

function equip(scope) {
  for (const header of scope.querySelectorAll("table[data-sortable] th[data-sort-kind]:not(:has(button))")) {
    const button = document.createElement("button");
    button.type = "button";
    button.className = "sort";
    button.append(...header.childNodes);
    header.append(button);
    button.addEventListener("click", () => sort(header));
  }
}

equip(document);
document.addEventListener("htmx:load", (event) => equip(event.target.parentElement ?? document));
