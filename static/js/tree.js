// A revision tree wider than its frame opens at what is on the car now.
//
// Hook:  .tree-frame with a node [data-current]
// Only the frame is scrolled: the page stays where it is.

for (const frame of document.querySelectorAll(".tree-frame")) {
  const node = frame.querySelector("[data-current]");
  if (!node) continue;
  const box = node.getBoundingClientRect();
  const view = frame.getBoundingClientRect();
  if (box.right > view.right) frame.scrollLeft += box.left + box.width / 2 - (view.left + view.width / 2);
}
