/* The panel: options, facts, stops, search, and layers with their symbols. */
function ofOption(data, option, outward) {
  const by = (effect) => option.customers.filter((c) => c.effect === effect);
  const standing = option.customers.filter((c) => c.standby);
  const turned = (angle) => (thing) => {
    const [x, y] = outward(thing.at), [c, s] = [Math.cos(angle), Math.sin(angle)];
    return [x * c - y * s, x * s + y * c];
  };
  const rows = [
    ["stops", "Stops: ● bag  ■ squeeze  ◆ valve", true, swatch(SYMBOL.stop({ kind: "bag", number: 1 })), option.stops.length, () => marksLayer(option.stops, SYMBOL.stop, "stops", turned(0.95), 46)],
    ["work", "Work section", true, lineSwatch(LINE.work), data.work.length, () => linesLayer(data.work, LINE.work, "work")],
    ["excavations", "Excavation", true, areaSwatch(EXCAVATION.fillColor, EXCAVATION.color), option.excavations.length, () => excavationsLayer(option.excavations)],
    ["isolated", "Isolated zone", true, lineSwatch(LINE.isolated), option.pieces.isolated.length, () => linesLayer(option.pieces.isolated, LINE.isolated, "state")],
    ["stranded", "Stranded part, no gas", true, lineSwatch(LINE.stranded), option.pieces.stranded.length, () => linesLayer(option.pieces.stranded, LINE.stranded, "state")],
    ["fed", "Part kept by a feed", true, lineSwatch(LINE.fed), option.pieces.fed.length, () => linesLayer(option.pieces.fed, LINE.fed, "state")],
    ["bypasses", "Bypass or hose, with flow", true, lineSwatch(LINE.bypass), option.bypasses.length, () => bypassLayer(option.bypasses)],
    ["off", "Customer off", true, swatch(SYMBOL.customer({ effect: "off" })), by("off").length, () => customersLayer(by("off"))],
    ["kept", "Customer kept by a feed", true, swatch(SYMBOL.customer({ effect: "kept" })), by("kept").length, () => customersLayer(by("kept"))],
    ["standby", "Customer on standby", true, swatch(SYMBOL.customer({ effect: "standby" })), standing.length, () => standbyLayer(standing)],
    ["in_doubt", "Customer in doubt", true, swatch(SYMBOL.doubt({})), option.in_doubt.length, () => marksLayer(option.in_doubt, SYMBOL.doubt, "doubt")],
    ["priority", "Priority customer (ring)", null, swatch(SYMBOL.customer({ effect: "kept", priority: true })), option.customers.filter((c) => c.priority).length, null],
    ["weak", "Weak: below minimum without a feed", null, swatch(SYMBOL.customer({ effect: "kept", weak: true })), option.customers.filter((c) => c.weak).length, null],
    ["purge_points", "Purge: F feed, V vent", true, swatch(SYMBOL.purge({ role: "vent" })), option.purge_points.length, () => marksLayer(option.purge_points, SYMBOL.purge, "small", turned(-0.95), 42)],
    ["gauges", "Gauge", true, swatch(SYMBOL.gauge()), option.gauges.length, () => marksLayer(option.gauges, SYMBOL.gauge, "small", turned(-2), 38)],
    ["fallback", "Fallback stop", false, swatch(SYMBOL.fallback()), option.fallback.length, () => marksLayer(option.fallback, SYMBOL.fallback, "small", turned(0), 50)],
    ["tappings", "Tappings (filled: barrier)", false, swatch(SYMBOL.tapping({ role: "vent" })), option.tappings.length, () => marksLayer(option.tappings, SYMBOL.tapping, "small")],
    ["refused", "No stop may go here", false, lineSwatch(LINE.refused), option.refused.length, () => linesLayer(option.refused, LINE.refused, "refused")],
    ["other", "Main of another system", true, lineSwatch(LINE.other), option.pieces["other system"].length, () => linesLayer(option.pieces["other system"], LINE.other, "refused")],
    ["closed", "Closed valve or pipe", true, swatch(SYMBOL.closed()), option.pieces.closed.length, () => closedLayer(option.pieces.closed)],
    ["stations", "Regulator station", true, swatch(SYMBOL.station()), option.stations.length, () => marksLayer(option.stations, SYMBOL.station, "small")],
    ["live", "Main in service (near the work)", true, lineSwatch(LINE.live), option.pieces.live.length, () => hitLayer(option.pieces.live)],
  ];
  return rows;
}

function baseRows(data) {
  const rows = [["light", "Whole network", true, lineSwatch([{ color: "#6a94b3", weight: 2.5 }]), "", () => lightLayer(data.light)]];
  const words = { streets: "Streets", buildings: "Buildings", water: "Water", rail: "Railway" };
  for (const [name, word] of Object.entries(words)) {
    if (!data.base[name]) continue;
    const [area, line] = BASE_STYLE[name];
    const picture = name === "rail" ? lineSwatch(line) : areaSwatch(area.fillColor, area.color);
    rows.push([name, word, true, picture, "", () => areasLayer(data.base[name], area, line, name)]);
  }
  if (data.base.names.length) rows.push(["names", "Names", true, swatch(draw("text", { fill: INK }, "Aa")), "", () => namesLayer(data.base.names)]);
  if (data.tiles) rows.push(["tiles", "Online background", false, areaSwatch("#fff", INK), "", () => L.tileLayer(data.tiles, { maxZoom: 22, maxNativeZoom: 19 })]);
  return rows;
}

class Layers {
  constructor(map) { this.map = map; this.shown = {}; this.wanted = {}; }

  show(rows, list) {
    for (const layer of Object.values(this.shown)) layer.remove();
    this.shown = {};
    list.replaceChildren();
    for (const [key, name, on, picture, count, make] of rows) list.append(this.row(key, name, on, picture, count, make));
  }

  row(key, name, on, picture, count, make) {
    const item = build("li", count === 0 ? { class: "empty hidden" } : {});
    const label = build("label", {});
    if (make) {
      const box = build("input", { type: "checkbox", "data-layer": key });
      box.checked = this.wanted[key] ?? on;
      box.addEventListener("change", () => { this.wanted[key] = box.checked; this.toggle(key, box.checked, make); item.classList.toggle("hidden", !box.checked || count === 0); });
      label.append(box);
      if (!box.checked) item.classList.add("hidden");
      this.toggle(key, box.checked, make);
    } else {
      label.append(build("span", { class: "no-box" }));
    }
    label.append(picture, build("span", {}, name));
    if (count !== "") label.append(build("span", { class: "count" }, String(count)));
    item.append(label);
    return item;
  }

  toggle(key, on, make) {
    if (on) { this.shown[key] = this.shown[key] || make(); this.shown[key].addTo(this.map); }
    else if (this.shown[key]) { this.shown[key].remove(); delete this.shown[key]; }
  }
}

function fillFacts(option) {
  const facts = document.getElementById("facts");
  facts.replaceChildren(...option.facts.map(([name, value]) => build("tr", {}, build("th", { scope: "row" }, name), build("td", {}, value))));
  document.getElementById("warnings").replaceChildren(...option.warnings.map((text) => build("p", {}, text)));
}

function fillStops(option, map) {
  const list = document.getElementById("stop-list");
  list.replaceChildren(...option.stops.map((stop) => {
    const button = build("button", { type: "button" }, swatch(SYMBOL.stop(stop), 30), build("span", {}, stop.line));
    button.addEventListener("click", () => { map.setView(stop.at, Math.max(map.getZoom(), 19), { animate: false }); if (stop.marker) stop.marker.openPopup(); });
    return build("li", {}, button);
  }));
}

function fillFeeds(option) {
  const lines = option.bypasses.map((b) => build("p", {}, b.line_text));
  document.getElementById("feeds").replaceChildren(...(lines.length ? [build("h2", {}, "Feeds"), ...lines] : []));
}

/* Customers in doubt, with the records to prove; those with a priority stand first. */
function fillDoubts(option, map) {
  const list = build("ol", { id: "doubt-list" }, ...option.in_doubt.map((thing) => {
    const button = build("button", { type: "button" }, swatch(SYMBOL.doubt(thing), 30), build("span", {}, thing.line));
    button.addEventListener("click", () => { if (!thing.at) return; map.setView(thing.at, Math.max(map.getZoom(), 19), { animate: false }); if (thing.marker) thing.marker.openPopup(); });
    return build("li", {}, button);
  }));
  document.getElementById("doubts").replaceChildren(...(option.in_doubt.length ? [build("h2", {}, "Customers in doubt"), list] : []));
}

/* Search: every word typed must stand in the address, in any order. */
function startSearch(data, map) {
  const [input, found] = [document.getElementById("search"), document.getElementById("found")];
  const ring = L.circleMarker([0, 0], { radius: 20, color: INK, weight: 3, fill: false, interactive: false });
  const folded = data.addresses.map(([address]) => address.toLowerCase());
  const go = ([address, lat, lon]) => {
    map.setView([lat, lon], Math.max(map.getZoom(), 19), { animate: false });
    ring.setLatLng([lat, lon]).addTo(map);
    const title = build("h3", {}, address);
    L.popup({ offset: [0, -8] }).setLatLng([lat, lon]).setContent(build("div", {}, title)).openOn(map);
    found.replaceChildren();
  };
  input.addEventListener("input", () => {
    const words = input.value.toLowerCase().split(/\s+/).filter(Boolean);
    const hits = [];
    for (let k = 0; k < folded.length && hits.length < 12 && words.length; k += 1) if (words.every((w) => folded[k].includes(w))) hits.push(data.addresses[k]);
    const rows = hits.map((hit) => { const b = build("button", { type: "button" }, hit[0]); b.addEventListener("click", () => go(hit)); return build("li", {}, b); });
    if (words.length && !hits.length) rows.push(build("li", {}, "no such address on this map"));
    found.replaceChildren(...rows);
    if (!words.length) ring.remove();
  });
  input.addEventListener("keydown", (event) => { if (event.key === "Enter") found.querySelector("button")?.click(); });
}
