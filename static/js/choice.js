// A list of links that fill a part of the page: the chosen one stays marked, and the links keep up with the address.
//
// Hook: [data-choice-of="<id of the part>"] around links; the links' "map" parameter names what they choose.
//       A link carries the other parameters as they were when the list was written; when the part is filled again,
//       those that the part's own links change ("show") are taken over from the address.
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

document.addEventListener("htmx:configRequest", (event) => {
  const link = event.detail.elt.closest?.("[data-choice-of] a[href]");
  if (link) event.detail.path = followed(link);
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
