// Steps that cannot be taken back ask once.
//
// Hook: form[data-confirm="what will be recorded"][data-confirm-title][data-confirm-action], holding [data-confirm-tick] with a checkbox.
// The tick is for pages without this script; here a dialog asks, sets it and sends the form. The server sees the same field either way.

let dialog;
let waiting;

function build() {
  dialog = document.createElement("dialog");
  dialog.setAttribute("aria-labelledby", "confirm-title");
  dialog.setAttribute("aria-describedby", "confirm-sentence");
  const title = document.createElement("h2");
  title.id = "confirm-title";
  const sentence = document.createElement("p");
  sentence.id = "confirm-sentence";
  const row = document.createElement("div");
  row.className = "actions";
  const back = document.createElement("button");
  back.type = "button";
  back.className = "button";
  back.textContent = "Back, record nothing";
  const go = document.createElement("button");
  go.type = "button";
  go.className = "button";
  go.dataset.kind = "irreversible";
  row.append(go, back);
  dialog.append(title, sentence, row);
  document.body.append(dialog);
  back.addEventListener("click", () => dialog.close());
  go.addEventListener("click", () => {
    const { form, submitter } = waiting;
    dialog.close();
    form.querySelector("[data-confirm-tick] input").checked = true;
    form.dataset.confirmed = "";
    form.requestSubmit(submitter);
  });
  dialog.addEventListener("close", () => waiting.submitter?.focus());
}

function ask(form, submitter) {
  if (!dialog) build();
  waiting = { form, submitter };
  dialog.querySelector("h2").textContent = form.dataset.confirmTitle;
  dialog.querySelector("p").textContent = form.dataset.confirm;
  dialog.querySelector("[data-kind=irreversible]").textContent = form.dataset.confirmAction;
  dialog.showModal();
  dialog.querySelector(".actions button:last-child").focus();
}

function equip(scope) {
  for (const tick of scope.querySelectorAll("form[data-confirm] [data-confirm-tick]")) {
    tick.hidden = true;
    tick.querySelector("input").required = false;
  }
}

document.addEventListener(
  "submit",
  (event) => {
    const form = event.target;
    if (!form.matches("form[data-confirm]")) return;
    if ("confirmed" in form.dataset) {
      delete form.dataset.confirmed;
      return;
    }
    event.preventDefault();
    event.stopImmediatePropagation();
    ask(form, event.submitter);
  },
  true,
);

equip(document);
document.addEventListener("htmx:load", (event) => equip(event.target.parentElement ?? document));
