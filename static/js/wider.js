// Tables, maps and trees that are wider than their frame are marked, so that the look can say that there is more.
//
// Hooks: .table-frame, .map-frame, .tree-frame get data-wider="right|left|both", after the side on which something is hidden.

const FRAMES = ".table-frame, .map-frame, .tree-frame";

function mark(frame) {
  const hidden = frame.scrollWidth - frame.clientWidth;
  const left = frame.scrollLeft > 2;
  const right = frame.scrollLeft < hidden - 2;
  if (hidden <= 2) delete frame.dataset.wider;
  else frame.dataset.wider = left && right ? "both" : left ? "left" : "right";
}

const sizes = new ResizeObserver((entries) => entries.forEach((entry) => mark(entry.target.closest(FRAMES))));

function equip(scope) {
  for (const frame of scope.querySelectorAll(FRAMES)) {
    if (frame.dataset.watched) continue;
    frame.dataset.watched = "yes";
    frame.addEventListener("scroll", () => mark(frame), { passive: true });
    sizes.observe(frame);
    if (frame.firstElementChild) sizes.observe(frame.firstElementChild);
    mark(frame);
  }
}

equip(document);
document.addEventListener("htmx:load", (event) => equip(event.target.parentElement ?? document));
