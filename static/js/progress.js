// Progress of long work, from an event stream.
//
// Hook:   [data-progress="address of the stream"] holding <progress> and [data-progress-text].
// Events of the stream, each with JSON data:
//         progress  {"done": 3, "total": 12, "text": "Reading file 3 of 12"}      total null = length not known
//         finished  {"text": "…", "href": "/where/next" or null}                  goes there
//         failed    {"text": "What went wrong and what to do."}

function show(element, state) {
  const bar = element.querySelector("progress");
  const text = element.querySelector("[data-progress-text]");
  if (state.text) text.textContent = state.text;
  if (state.total) {
    bar.max = state.total;
    bar.value = state.done;
  } else if (state.done === undefined) bar.hidden = true;
  else bar.removeAttribute("value");
}

function follow(element) {
  element.dataset.progressFollowed = "";
  const stream = new EventSource(element.dataset.progress);
  const listen = (name, act) => stream.addEventListener(name, (event) => act(JSON.parse(event.data)));
  listen("progress", (state) => show(element, state));
  listen("finished", (state) => {
    stream.close();
    show(element, { done: 1, total: 1, text: state.text });
    if (state.href) location.assign(state.href);
  });
  listen("failed", (state) => {
    stream.close();
    show(element, state);
    element.querySelector("[data-progress-text]").setAttribute("role", "alert");
  });
}

function equip(scope) {
  for (const element of scope.querySelectorAll("[data-progress]:not([data-progress-followed])")) follow(element);
}

equip(document);
document.addEventListener("htmx:load", (event) => equip(event.target.parentElement ?? document));
