// The search says what it is, and wide tables and listings can be scrolled by keyboard.
function makeReachable() {
  const search = document.querySelector(".md-search");
  if (search) search.setAttribute("aria-label", "Search");
  const shown = document.getElementById("__search");
  if (shown) shown.setAttribute("aria-label", "Search");
  for (const wide of document.querySelectorAll(".md-typeset__scrollwrap, .md-typeset pre > code")) {
    if (wide.scrollWidth > wide.clientWidth) wide.tabIndex = 0;
  }
}

window.addEventListener("load", makeReachable);
window.addEventListener("resize", makeReachable);
