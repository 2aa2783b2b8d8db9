// What went wrong with a request that htmx made, in the one place of the page for it: div#problem.
// The page's htmx settings put answers of 4xx and 5xx there (422 goes to its own target, beside the field at fault).

const place = document.getElementById("problem");

document.addEventListener("htmx:beforeRequest", () => place.replaceChildren());

document.addEventListener("htmx:sendError", () => {
  const sentence = document.createElement("p");
  sentence.className = "form-errors";
  sentence.textContent = "The server did not answer. Check that it runs and that this computer reaches it, then try again.";
  place.replaceChildren(sentence);
});

document.addEventListener("htmx:afterSwap", (event) => {
  if (event.target === place) place.scrollIntoView({ block: "nearest" });
});
