// On a narrow screen the navigation is wider than the page: the place where the person is comes into view.

const list = document.querySelector(".site-nav ul");
const here = list?.querySelector("[aria-current]");
if (here) {
  const hidden = here.getBoundingClientRect().right - list.getBoundingClientRect().right * 0.8;
  if (hidden > 0) list.scrollLeft += hidden;
}
