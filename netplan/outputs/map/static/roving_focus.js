/* One stop of the tab key for a whole list or kind of mark: the arrow keys lead through it. */
const STEP = { ArrowRight: 1, ArrowDown: 1, ArrowLeft: -1, ArrowUp: -1 };

function roveOver(elements, chosen = 0, follow = null) {
  const focus = (next) => {
    elements.forEach((one, k) => { one.tabIndex = k === next ? 0 : -1; });
    elements[next].focus();
    if (follow) follow(next);
  };
  elements.forEach((one, k) => {
    one.tabIndex = k === chosen ? 0 : -1;
    one.addEventListener("keydown", (event) => {
      const count = elements.length;
      const next = event.key === "Home" ? 0 : event.key === "End" ? count - 1 : event.key in STEP ? (k + STEP[event.key] + count) % count : null;
      if (next === null) return;
      event.preventDefault();
      event.stopPropagation();
      focus(next);
    });
  });
}

/* The marks of one layer, in the order of the plan. */
function roveMarks(layer) {
  const marks = [];
  const collect = (one) => {
    if (one.eachLayer) one.eachLayer(collect);
    else if (one instanceof L.Marker && one.options.interactive && one.getElement()) marks.push(one);
  };
  collect(layer);
  const elements = marks.map((mark) => mark.getElement());
  elements.forEach((one, k) => {
    one.setAttribute("role", "button");
    one.setAttribute("aria-label", `${marks[k].options.title || marks[k].options.alt}${elements.length > 1 ? `, ${k + 1} of ${elements.length}` : ""}`);
  });
  roveOver(elements);
}
