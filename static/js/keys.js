// Keys that work on every page.
//
// Hooks: data-search-shortcut   the field that "/" goes to; one inside <main> comes before the header's
//        input[type=search]     down goes to what it found (its hx-target, else the page's first list), up goes back
//        data-keys="list"       up, down, Home and End move between the links and buttons inside
//        dialog#keyboard-help   opened by "?"
//        data-print             a button that prints; shown only when this script runs
// Esc leaves a field, closes an open <details> and, by the browser, a dialog.

const typing = (element) => element?.matches("input:not([type=checkbox], [type=radio], [type=file]), textarea, select, [contenteditable]");

function stops(list) {
  return [...list.querySelectorAll("a[href], button:not([disabled]), summary")].filter((stop) => stop.checkVisibility());
}

// From a search field down into what it found, and back up.
function moveToHits(event) {
  const field = event.target.closest?.("input[type=search]");
  if (field && event.key === "ArrowDown") {
    const found = document.querySelector(field.getAttribute("hx-target") ?? "main [data-keys=list]");
    const first = stops(found ?? field)[0];
    first?.focus();
    return Boolean(first);
  }
  const list = event.target.closest?.("[data-keys=list]");
  if (!list || event.key !== "ArrowUp" || stops(list)[0] !== event.target) return false;
  const above =
    document.querySelector(`input[type=search][hx-target="#${list.parentElement.id}"]`) ??
    document.querySelector("main input[type=search]:not([hx-target])");
  above?.focus();
  return Boolean(above);
}

function moveInList(event) {
  const list = event.target.closest?.("[data-keys=list]");
  if (!list || typing(event.target)) return false;
  const all = stops(list);
  const at = all.indexOf(event.target);
  if (at < 0) return false;
  const to = { ArrowDown: at + 1, ArrowUp: at - 1, Home: 0, End: all.length - 1 }[event.key];
  if (to === undefined || !all[to]) return false;
  all[to].focus();
  return true;
}

function leave(event) {
  if (document.querySelector("dialog[open]")) return false;
  if (typing(event.target)) {
    event.target.blur();
    return true;
  }
  const open = event.target.closest?.("details[open]");
  if (!open) return false;
  open.open = false;
  open.querySelector("summary")?.focus();
  return true;
}

document.addEventListener("keydown", (event) => {
  if (event.defaultPrevented || event.ctrlKey || event.metaKey || event.altKey) return;
  let taken = false;
  if (event.key === "Escape") taken = leave(event);
  else if (event.key === "/" && !typing(event.target)) {
    const field = document.querySelector("main [data-search-shortcut]") ?? document.querySelector("[data-search-shortcut]");
    field?.focus();
    field?.select();
    taken = Boolean(field);
  } else if (event.key === "?" && !typing(event.target)) {
    const help = document.getElementById("keyboard-help");
    if (help && !document.querySelector("dialog[open]")) {
      help.showModal();
      taken = true;
    }
  } else taken = moveToHits(event) || moveInList(event);
  if (taken) event.preventDefault();
});

for (const button of document.querySelectorAll("[data-print]")) button.hidden = false;
document.addEventListener("click", (event) => {
  if (event.target.closest("[data-print]")) print();
});
