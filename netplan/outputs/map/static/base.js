/* What every map does: elements, headings, scale, and a panel that folds on a phone. Texts of the data go in as
   text, never as markup. */
const SVG = "http://www.w3.org/2000/svg";
const INK = "#1b1b1b";

function draw(tag, attributes, ...children) {
  const element = document.createElementNS(SVG, tag);
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
  for (const child of children) element.append(child);
  return element;
}

function build(tag, attributes, ...children) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
  for (const child of children) element.append(child);
  return element;
}

function at(id) { return document.getElementById(id); }

/* Return the data and the map, with all in place that maps share. */
function openPage() {
  const data = JSON.parse(at("page-data").textContent);
  const map = map_plan;
  map.attributionControl?.remove();
  L.control.zoom({ position: "bottomleft" }).addTo(map);
  const us = data.units === "us";
  L.control.scale({ position: "bottomleft", metric: !us, imperial: us, maxWidth: 160 }).addTo(map);
  at("north").append(draw("svg", { width: 34, height: 44, viewBox: "-17 -22 34 44" },
    draw("path", { d: "M0 -20L9 12L0 6L-9 12Z", fill: INK, stroke: "#fff", "stroke-width": 1.5 }), draw("text", { x: 0, y: 18, fill: INK, style: "font:700 12px sans-serif;text-anchor:middle" }, "N")));
  at("heading").textContent = at("fold-text").textContent = data.heading;
  at("window").textContent = data.window;
  at("caution").textContent = data.caution;
  at("fold").addEventListener("click", () => at("fold").setAttribute("aria-expanded", String(at("panel").classList.toggle("open"))));
  return { data, map };
}

/* A line of a legend: how it is drawn, and what it means. */
function legendLine(css, words) {
  const mark = build("i", {});
  mark.style.borderTop = css;
  at("legend").append(build("li", {}, mark, build("span", {}, words)));
}

/* A row of a list that leads somewhere on the map. */
function listEntry(name, right, go) {
  const button = build("button", { type: "button" }, build("span", {}, name), build("b", {}, right));
  button.addEventListener("click", go);
  return build("li", {}, button);
}
