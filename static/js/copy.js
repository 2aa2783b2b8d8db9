// Copy buttons. Hook: button[data-copy="…"], with [data-copy-text] for the word that changes; shown only when this
// script runs.
// On plain http the clipboard interface is absent; then the value beside the button is selected, ready for the copy key.

function selectBeside(button) {
  const value = button.parentElement.querySelector(".evidence-value");
  if (!value) return "Not copied";
  getSelection().selectAllChildren(value);
  return "Selected";
}

async function copy(button) {
  try {
    await navigator.clipboard.writeText(button.dataset.copy);
    return "Copied";
  } catch {
    return selectBeside(button);
  }
}

for (const button of document.querySelectorAll("button[data-copy]")) button.hidden = false;
document.addEventListener("click", async (event) => {
  const button = event.target.closest?.("button[data-copy]");
  if (!button) return;
  const word = button.querySelector("[data-copy-text]");
  const before = button.dataset.copyWord ?? word.textContent;
  button.dataset.copyWord = before;
  word.setAttribute("role", "status");
  word.textContent = await copy(button);
  setTimeout(() => { word.textContent = before; }, 2500);
});
