// Light, dark or as the system says. The server keeps the choice; this applies it at once and tells the charts.
//
// Hook: a form with data-theme-form whose buttons are named "theme". Without this script the form posts and the page reloads.
// Event: "themechange" on document, after the colours changed.

const root = document.documentElement;

function announce() {
  document.dispatchEvent(new CustomEvent("themechange", { detail: { theme: root.dataset.theme } }));
}

document.addEventListener("submit", (event) => {
  const form = event.target;
  const button = event.submitter;
  if (!form.matches("[data-theme-form]") || !button || button.name !== "theme") return;
  event.preventDefault();
  const body = new URLSearchParams(new FormData(form, button));
  root.dataset.theme = button.value;
  for (const other of form.querySelectorAll("button[name=theme]")) {
    other.setAttribute("aria-pressed", String(other === button));
  }
  announce();
  fetch(form.action, { method: "POST", body, redirect: "manual" }).catch(() => form.submit());
});

matchMedia("(prefers-color-scheme: dark)").addEventListener("change", announce);
