/* Layers: what is drawn, in which pane, and how it is named in the panel, which is also the legend. */
const PANES = { water: 205, streets: 210, buildings: 215, rail: 220, light: 300, hit: 305, ground: 312, refused: 315, state: 330, bypass: 340, work: 350, names: 450, customers: 560, doubt: 570, small: 580, stops: 620, tags: 615 };
function makePanes(map) { for (const [name, z] of Object.entries(PANES)) map.createPane(name).style.zIndex = z; }

function strokesOf(lines, strokes, pane, thing) {
  const group = L.layerGroup();
  strokes.forEach((stroke, k) => {
    const line = L.polyline(lines, { pane, ...stroke, interactive: Boolean(thing) && k === strokes.length - 1 });
    if (thing && k === strokes.length - 1) line.bindPopup(popupOf(thing));
    group.addLayer(line);
  });
  return group;
}

function linesLayer(things, strokes, pane) {
  const group = L.layerGroup();
  for (const thing of things) if (thing.line.length > 3) group.addLayer(strokesOf(pairs(thing.line), thing.main === false ? thin(strokes) : strokes, pane, thing));
  return group;
}
function thin(strokes) { return strokes.map((s) => ({ ...s, weight: Math.max(1.5, s.weight * 0.45) })); }

function hitLayer(things) {
  const group = L.layerGroup();
  for (const thing of things) {
    group.addLayer(L.polyline(pairs(thing.line), { pane: "hit", ...LINE.live[0], weight: 3 }));
    group.addLayer(L.polyline(pairs(thing.line), { pane: "hit", weight: 18, opacity: 0 }).bindPopup(popupOf(thing)));
  }
  return group;
}

/* Marks on their place. */
function marksLayer(things, symbol, pane) {
  const group = L.layerGroup();
  for (const thing of things) if (thing.at) group.addLayer(markOf(thing, plainIcon(symbol(thing)), pane));
  return group;
}

function markOf(thing, icon, pane) {
  thing.marker = L.marker(thing.at, { icon, pane, keyboard: true, title: thing.title }).bindPopup(popupOf(thing), { maxWidth: 340 });
  return thing.marker;
}

/* Marks off their place, on leaders: `size` is half their width and height in pixels, or a function of the thing. */
function labelsLayer(things, symbol, pane, places, { rank, minor = false, size }) {
  const group = L.layerGroup();
  for (const thing of things) {
    if (!thing.at) continue;
    const marker = markOf(thing, places.icon(symbol(thing), typeof size === "function" ? size(thing) : size), pane);
    if (minor) marker.options.icon.options.className += " minor";
    group.addLayer(places.follow(marker, { rank, minor, away: places.outward }));
  }
  return group;
}

function closedLayer(things) {
  const group = L.layerGroup();
  for (const thing of things) {
    const places = pairs(thing.line);
    if (!places.length) continue;
    if (thing.line.length > 3) group.addLayer(strokesOf(places, LINE.closed, "state", thing));
    group.addLayer(markOf({ ...thing, at: places[Math.floor(places.length / 2)] }, plainIcon(SYMBOL.closed()), "small"));
  }
  return group;
}

/* Places in equal steps along a line. */
function stepsAlong(places, count) {
  const squash = Math.cos((places[0][0] * Math.PI) / 180);
  const ends = [0];
  for (let k = 1; k < places.length; k += 1) {
    ends.push(ends[k - 1] + Math.hypot(places[k][0] - places[k - 1][0], (places[k][1] - places[k - 1][1]) * squash));
  }
  const steps = [];
  for (let k = 0, at = 1; k <= count; k += 1) {
    const wanted = (ends[ends.length - 1] * k) / count;
    while (at < places.length - 1 && ends[at] < wanted) at += 1;
    const [a, b, step] = [places[at - 1], places[at], ends[at] - ends[at - 1]];
    const share = step > 0 ? (wanted - ends[at - 1]) / step : 0;
    steps.push([a[0] + share * (b[0] - a[0]), a[1] + share * (b[1] - a[1])]);
  }
  return steps;
}

/* A straight bypass is drawn bowed, so that it does not lie on the main that it goes round. */
function bowed(flat) {
  const [a, b] = [[flat[0], flat[1]], [flat[flat.length - 2], flat[flat.length - 1]]];
  const squash = Math.cos((a[0] * Math.PI) / 180);
  const [dy, dx] = [b[0] - a[0], (b[1] - a[1]) * squash];
  const places = [];
  for (let k = 0; k <= 24; k += 1) {
    const t = k / 24, lift = 0.07 * Math.sin(Math.PI * t);
    places.push([a[0] + dy * t + dx * lift, a[1] + (dx * t - dy * lift) / squash]);
  }
  return places;
}

function bypassLayer(things, strokes, labels) {
  const group = L.layerGroup();
  for (const thing of things) {
    const route = thing.line.length > 4 ? pairs(thing.line) : bowed(thing.line);
    group.addLayer(strokesOf(route, strokes, "bypass", thing));
    const places = stepsAlong(route, 24);
    thing.at = places[12];
    group.addLayer(labelsLayer([thing], () => tag(thing.label), "tags", labels, { rank: 2, size: [tagHalfWidth(thing.label), 10] }));
    const [p, q] = [places[17], places[18]];
    const turn = (Math.atan2(-(q[0] - p[0]), (q[1] - p[1]) * Math.cos((p[0] * Math.PI) / 180)) * 180) / Math.PI;
    const arrow = draw("path", { d: "M8 0L-6 -8L-2 0L-6 8Z", fill: INK, stroke: "#fff", transform: `rotate(${turn})` });
    group.addLayer(L.marker(q, { icon: plainIcon(arrow), pane: "small", interactive: false, keyboard: false }));
  }
  return group;
}

/* The work, and a label that says where it is when its line is too short to see. */
function workLayer(things, labels) {
  const group = linesLayer(things, LINE.work, "work");
  for (const thing of things) thing.at = stepsAlong(pairs(thing.line), 2)[1];
  const look = { fill: LINE.work[1].color };
  group.addLayer(labelsLayer(things, (thing) => tag(thing.id, look), "tags", labels, { rank: 1, size: (thing) => [tagHalfWidth(thing.id), 10] }));
  return group;
}

function customersLayer(things) {
  const group = marksLayer(things, SYMBOL.customer, "customers");
  for (const thing of things) {
    if (!thing.number || !thing.at) continue;
    group.addLayer(L.marker(thing.at, { pane: "names", interactive: false, keyboard: false, icon: L.divIcon({ className: thing.priority ? "house ring" : "house", html: build("span", {}, thing.number), iconSize: [0, 0] }) }));
  }
  return group;
}

/* Fallbacks at one place are one mark, which says all that is done there. */
function fallbacksByPlace(things) {
  const byPlace = new Map();
  for (const thing of things) {
    if (!thing.at) continue;
    const key = thing.at.join();
    if (!byPlace.has(key)) byPlace.set(key, { ...thing, ids: [], rows: [] });
    const one = byPlace.get(key);
    if (!one.ids.includes(thing.id)) one.ids.push(thing.id);
    one.rows.push(...thing.rows);
  }
  return [...byPlace.values()].map((one) => ({ ...one, id: one.ids.map((id, k) => (k ? id.replace(/^F /, "") : id)).join(" ") }));
}

const EXCAVATION = { fillColor: "#f2d7a6", fillOpacity: 0.85, color: "#1b1b1b", weight: 1.5, dashArray: "5 3" };
function excavationsLayer(things) {
  const group = L.layerGroup();
  for (const thing of things) group.addLayer(L.polygon(pairs(thing.line), { pane: "ground", ...EXCAVATION }).bindPopup(popupOf(thing), { maxWidth: 340 }));
  return group;
}

function areasLayer(source, area, line, pane) {
  const group = L.layerGroup();
  if (source.areas.length) group.addLayer(L.polygon(source.areas.map((ring) => [pairs(ring)]), { pane, interactive: false, ...area }));
  for (const stroke of source.lines.length ? line : []) group.addLayer(L.polyline(source.lines.map(pairs), { pane, interactive: false, ...stroke }));
  return group;
}

const BASE_STYLE = {
  water: [{ fillColor: "#cfe3ee", fillOpacity: 1, color: "#8fb4c9", weight: 1 }, [{ color: "#a9cadb", weight: 5 }]],
  streets: [{ fillColor: "#fff", fillOpacity: 1, color: "#d8d2c3", weight: 1 }, [{ color: "#d3ccba", weight: 15, metres: 8, least: 4 }, { color: "#fffefb", weight: 12.5, metres: 8, least: 2 }]],
  buildings: [{ fillColor: "#e3dccd", fillOpacity: 1, color: "#c4baa5", weight: 0.8 }, [{ color: "#c4baa5", weight: 1 }]],
  rail: [{ fillColor: "#ddd", fillOpacity: 1, color: "#777", weight: 1 }, [{ color: "#6d6a64", weight: 4.5, lineCap: "butt" }, { color: "#fff", weight: 2.5, dashArray: "9 9", lineCap: "butt" }]],
};

/* Streets have their true width on the ground at every scale; names come when they have room. */
function startDetail(map, streets) {
  const detail = () => {
    const pixels = (2 ** map.getZoom() * 256) / (40075016.7 * Math.cos((map.getCenter().lat * Math.PI) / 180));
    streets()?.eachLayer((line) => line.options.metres && line.setStyle({ weight: Math.max(line.options.least, line.options.metres * pixels + line.options.least - 2) }));
    const box = map.getContainer().classList;
    box.toggle("far", map.getZoom() < NEAR_ZOOM);
    box.toggle("near", map.getZoom() >= 18);
    box.toggle("middling", map.getZoom() < 18.25);
  };
  map.on("zoomend", detail);
  detail();
  return detail;
}

/* The base map of a page without switches for it. */
function baseLayers(map, base) {
  const shown = {};
  for (const [name, [area, line]] of Object.entries(BASE_STYLE)) if (base[name]) shown[name] = areasLayer(base[name], area, line, name).addTo(map);
  namesLayer(base.names).addTo(map);
  startDetail(map, () => shown.streets);
  return Object.keys(shown);
}

function baseLegend(names) {
  const words = { streets: "street", buildings: "building", water: "water", rail: "railway" };
  for (const name of names) {
    const [area, line] = BASE_STYLE[name];
    legendSymbol(name === "rail" ? lineSwatch(line) : areaSwatch(area.fillColor, area.color), words[name]);
  }
}

/* Valves as two triangles on a canvas, which bears thousands. */
const ValveMark = L.CircleMarker.extend({
  _updatePath() {
    const [canvas, place] = [this._renderer, this._point];
    if (!canvas._drawing || this._empty()) return;
    const pen = canvas._ctx;
    pen.beginPath();
    for (const [x, y] of [[-7, -4.5], [7, 4.5], [7, -4.5], [-7, 4.5]]) pen.lineTo(place.x + x, place.y + y);
    pen.closePath();
    canvas._fillStroke(pen, this);
  },
});
function valvesLayer(things, canvas) {
  const group = L.layerGroup();
  for (const thing of things) {
    thing.title = `Valve ${thing.id}`;
    thing.rows = [["recorded", thing.words]];
    thing.marker = new ValveMark(thing.at, { renderer: canvas, radius: 7, weight: 1.5, color: INK, fillColor: "#fff", fillOpacity: 1 }).bindPopup(popupOf(thing));
    group.addLayer(thing.marker);
  }
  return group;
}

function namesLayer(names) {
  const group = L.layerGroup();
  for (const name of names) {
    const text = build("span", {}, name.text);
    text.style.transform = `rotate(${name.turn}deg) translate(-50%, -50%)`;
    group.addLayer(L.marker(name.at, { pane: "names", interactive: false, keyboard: false, icon: L.divIcon({ className: `name ${name.kind}${name.later ? " later" : ""}`, html: text, iconSize: [0, 0] }) }));
  }
  return group;
}

/* Vectors print sharper; above some thousand lines pixels are drawn faster. */
const MANY_LINES = 6000;
function lightLayer(light) {
  const group = L.layerGroup();
  const many = light.mains.reduce((sum, lines) => sum + lines.length, light.services.length) > MANY_LINES;
  const way = { pane: "light", interactive: false, ...(many ? { renderer: L.canvas({ pane: "light", padding: 0.2 }) } : {}) };
  group.addLayer(L.polyline(light.services.map(pairs), { ...way, color: "#7d9fb5", weight: 1 }));
  light.mains.forEach((lines, k) => group.addLayer(L.polyline(lines.map(pairs), { ...way, color: "#6a94b3", weight: 1.8 + 0.9 * k })));
  return group;
}
