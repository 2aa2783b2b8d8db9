// A list of links that fill a part of the page: the chosen one stays marked, and the links keep up with the address.
//
// Hook: [data-choice-of="<id of the part>"] around links; the links' "map" parameter names what they choose.
//       A link carries the other parameters as they were when the list was written; when the part is filled again,
//       those that the part's own links change ("show") are taken over from the address.
//       [data-cell-in-address="<id of a map table>"] around the part: the pointed cell goes into the address, as
//       "cell=row-column" counted from 1, and into the part's own links to the same map.
//       form[data-cell-of="<id of a map table>"] with fields "row" and "column", counted from 1: follows the pointed cell.

const FOLLOWED = ["show"];

function current(list) {
  const here = new URL(location.href).searchParams;
  for (const link of list.querySelectorAll("a[href]")) {
    const address = new URL(link.href);
    if (address.searchParams.get("map") === here.get("map")) link.setAttribute("aria-current", "true");
    else link.removeAttribute("aria-current");
  }
}

function followed(link) {
  const address = new URL(link.href);
  const here = new URL(location.href).searchParams;
  for (const name of FOLLOWED) {
    if (here.has(name)) address.searchParams.set(name, here.get(name));
    else address.searchParams.delete(name);
  }
  return address.pathname + address.search;
}

// Another way of looking at the same map keeps the cell.
function withCell(link) {
  const address = new URL(link.href);
  const here = new URL(location.href).searchParams;
  if (here.has("cell") && address.searchParams.get("map") === here.get("map")) address.searchParams.set("cell", here.get("cell"));
  return address.pathname + address.search;
}

document.addEventListener("htmx:configRequest", (event) => {
  const link = event.detail.elt.closest?.("a[href]");
  if (link?.closest("[data-choice-of]")) event.detail.path = followed(link);
  else if (link?.closest("[data-cell-in-address]")) event.detail.path = withCell(link);
});

document.addEventListener("cell:point", ({ detail }) => {
  const part = document.querySelector(`[data-cell-in-address="${CSS.escape(detail.grid)}"]`);
  if (!part) return;
  const address = new URL(location.href);
  const cell = `${detail.row + 1}-${detail.col + 1}`;
  if (address.searchParams.get("cell") === cell) return;
  // The map stands in the address too: a cell alone would say nothing once another map comes first in the list.
  address.searchParams.set("map", part.dataset.map);
  address.searchParams.set("cell", cell);
  history.replaceState(history.state, "", address);
});

document.addEventListener("htmx:afterSettle", (event) => {
  for (const list of document.querySelectorAll("[data-choice-of]")) {
    if (list.dataset.choiceOf === event.detail.target?.id) current(list);
  }
});

document.addEventListener("cell:point", ({ detail }) => {
  for (const form of document.querySelectorAll(`form[data-cell-of="${CSS.escape(detail.grid)}"]`)) {
    form.elements.row.value = detail.row + 1;
    form.elements.column.value = detail.col + 1;
    form.elements.column.dispatchEvent(new Event("change", { bubbles: true }));
  }
});
