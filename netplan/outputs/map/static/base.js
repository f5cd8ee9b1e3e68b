/* What every map does: elements, headings, scale, keys, and a panel that folds on a phone. Texts of the data go in as
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

function pairs(flat) {
  const places = [];
  for (let k = 0; k < flat.length; k += 2) places.push([flat[k], flat[k + 1]]);
  return places;
}

/* A popup's content: a heading, and rows of name and value. */
function popupOf(thing) {
  return () => {
    const table = build("table", {});
    for (const [name, value] of thing.rows || []) table.append(build("tr", {}, build("th", { scope: "row" }, name), build("td", {}, value)));
    return build("div", {}, build("h3", {}, thing.title), table);
  };
}

function onPhone() { return getComputedStyle(at("fold")).display !== "none"; }

function openPanel(open) {
  at("panel").classList.toggle("open", open);
  at("fold").setAttribute("aria-expanded", String(open));
}

/* Show a place: on a phone the panel folds, so that the place is in sight. */
function showPlace(map, place, marker, zoom = 19) {
  if (onPhone()) openPanel(false);
  map.setView(place, Math.max(map.getZoom(), zoom), { animate: false });
  if (marker) marker.openPopup();
}

/* Escape closes what is open: the popup first, then the panel of a phone; the focus goes back to where it came from. */
function startEscape(map) {
  let opener = null, open = false;
  map.on("popupopen", (event) => {
    open = true;
    at("north").classList.add("hidden");
    opener = document.activeElement === document.body ? event.popup._source?.getElement?.() : document.activeElement;
    if (onPhone()) openPanel(false);
    const content = event.popup.getElement().querySelector(".leaflet-popup-content");
    if (content.scrollHeight > content.clientHeight) for (const [name, value] of Object.entries({ tabindex: "0", role: "group", "aria-label": content.querySelector("h3")?.textContent || "more" })) content.setAttribute(name, value);
  });
  map.on("popupclose", () => {
    open = false;
    at("north").classList.remove("hidden");
  });
  document.addEventListener("keydown", (event) => {
    if (event.key !== "Escape" || event.defaultPrevented) return;
    if (open) {
      map.closePopup();
      if (opener?.isConnected) opener.focus();
    } else if (onPhone() && at("panel").classList.contains("open")) {
      openPanel(false);
      at("fold").focus();
    }
  });
}

/* Return the data and the map, with all in place that maps share. */
function openPage() {
  const data = JSON.parse(at("page-data").textContent);
  const map = map_plan;
  map.attributionControl?.remove();
  map.getContainer().setAttribute("role", "region");
  map.getContainer().setAttribute("aria-label", "Map");
  L.control.zoom({ position: "bottomleft" }).addTo(map);
  const us = data.units === "us";
  L.control.scale({ position: "bottomleft", metric: !us, imperial: us, maxWidth: 160 }).addTo(map);
  map.getContainer().append(at("north"));
  at("north").append(draw("svg", { width: 34, height: 44, viewBox: "-17 -22 34 44", "aria-hidden": "true" },
    draw("path", { d: "M0 -20L9 12L0 6L-9 12Z", fill: INK, stroke: "#fff", "stroke-width": 1.5 }), draw("text", { x: 0, y: 18, fill: INK, style: "font:700 12px sans-serif;text-anchor:middle" }, "N")));
  at("heading").textContent = at("fold-text").textContent = data.heading;
  at("window").textContent = data.window;
  at("caution").textContent = data.caution;
  at("fold").addEventListener("click", () => openPanel(!at("panel").classList.contains("open")));
  at("skip").addEventListener("click", (event) => {
    event.preventDefault();
    openPanel(true);
    at("panel").focus();
  });
  startEscape(map);
  return { data, map };
}

/* A line of a legend: how it is drawn, and what it means. */
function legendLine(css, words) {
  const mark = build("i", {});
  mark.style.borderTop = css;
  at("legend").append(build("li", {}, mark, build("span", {}, words)));
}

/* A symbol of a legend, and what it means. */
function legendSymbol(picture, words) { at("legend").append(build("li", {}, picture, build("span", {}, words))); }

/* A row of a list that leads somewhere on the map. */
function listEntry(name, right, go) {
  const button = build("button", { type: "button" }, build("span", {}, name), build("b", {}, right));
  button.addEventListener("click", go);
  return build("li", {}, button);
}
