/* Every main coloured by a figure; the one that is tapped gives the command that plans it. */
document.addEventListener("DOMContentLoaded", () => {
  const { data, map } = openPage();
  makePanes(map);
  at("note").textContent = data.note;
  const baseNames = baseLayers(map, data.around);

  const canvas = L.canvas({ tolerance: 6 });
  const places = (line) => {
    const out = [];
    let [lat, lon] = data.base;
    for (let k = 0; k < line.length; k += 2) out.push([(lat += line[k]) / 1e6, (lon += line[k + 1]) / 1e6]);
    return out;
  };
  if (data.rest.length) L.polyline(data.rest.map(places), { renderer: canvas, color: "#c9c4b6", weight: 1, interactive: false }).addTo(map);
  const lines = data.lines.map((line) => L.polyline(places(line), { renderer: canvas }));
  const number = (value) => (value === null ? "–" : value.toLocaleString("en", { maximumFractionDigits: data.units === "us" ? 2 : 1 }));
  const chosen = (k) => {
    const box = () => commandBox(planCommand(data.command, [[data.ids[k], data.spans[2 * k], data.spans[2 * k + 1]]]));
    at("chosen").replaceChildren(build("h2", {}, `Plan main ${data.ids[k]}`), box());
    return box();
  };
  const popup = (k) => {
    const table = build("table", {});
    const row = (name, value) => table.append(build("tr", {}, build("th", {}, name), build("td", {}, value)));
    row("main", data.ids[k]);
    if (data.streets[k]) row("street", data.streets[k]);
    for (const figure of data.figures) row(figure.label, number(figure.values[k]));
    for (const words of data.words) if (words.values[k]) row(words.name, words.values[k]);
    if (data.bypass[k]) row("bypass", data.bypass[k]);
    if (data.stop_methods[k]) row("by", data.stop_methods[k]);
    if (data.reasons[k]) table.append(build("tr", {}, build("td", {}, data.reasons[k])));
    return build("div", {}, table, chosen(k));
  };
  lines.forEach((line, k) => line.bindPopup(() => popup(k), { maxWidth: 340 }).addTo(map));
  const show = (k) => {
    if (onPhone()) openPanel(false);
    map.fitBounds(lines[k].getBounds(), { maxZoom: 18, padding: [80, 80], animate: false });
    lines[k].openPopup();
  };
  const entry = (k, right) => listEntry(data.streets[k] ? `${data.ids[k]}, ${data.streets[k]}` : data.ids[k], right, () => show(k));

  const valves = searchThings({ Valve: data.valves });
  const drawnValves = valvesLayer(valves, canvas);
  const near = () => { if (map.getZoom() >= 16) drawnValves.addTo(map); else drawnValves.remove(); };
  map.on("zoomend", near);
  const stations = marksLayer(data.stations, SYMBOL.station, "small").addTo(map);
  roveMarks(stations);

  const surroundings = () => {
    legendSymbol(swatch(SYMBOL.station()), "regulator station");
    if (valves.length) legendSymbol(swatch(SYMBOL.valve()), "valve, from near");
    baseLegend(baseNames);
  };
  const colour = (figure) => {
    const values = figure.values;
    const known = values.filter((v) => v !== null && (figure.low || v > 0)).sort((a, b) => a - b);
    const breaks = [];
    for (let k = 1; k < data.colours.length; k++) {
      const value = known[Math.min(known.length - 1, Math.floor((known.length * k) / data.colours.length))];
      if (value !== undefined && value > (breaks.length ? breaks[breaks.length - 1] : known[0])) breaks.push(value);
    }
    const count = breaks.length + 1;
    const rank = (v) => breaks.filter((b) => v >= b).length;
    const step = (n) => (figure.low ? count - 1 - n : n);
    const shade = (n) => data.colours[Math.round((step(n) * (data.colours.length - 1)) / Math.max(count - 1, 1))];
    const weight = (n) => 2 + (4 * step(n)) / Math.max(count - 1, 1);
    const none = { color: "#1b1b1b", weight: 3, dashArray: "2 5", opacity: 1 };
    const zero = { color: "#b9b3a4", weight: 1.5, dashArray: null, opacity: 1 };
    const style = (v) => (v === null ? none : !figure.low && v <= 0 ? zero : { color: shade(rank(v)), weight: weight(rank(v)), dashArray: null, opacity: 1 });
    lines.forEach((line, k) => line.setStyle(style(values[k])));
    [...values.keys()].filter((k) => values[k] !== null).sort((a, b) => values[a] - values[b]).forEach((k) => !figure.low && lines[k].bringToFront());
    at("legend").replaceChildren();
    for (let n = count - 1; n >= 0 && known.length; n--) {
      const low = n ? breaks[n - 1] : known[0], high = n < count - 1 ? breaks[n] : known[known.length - 1];
      legendLine(`${weight(n)}px solid ${shade(n)}`, n < count - 1 ? `${number(low)} to below ${number(high)}` : `${number(low)} to ${number(high)}`);
    }
    if (!figure.low && values.some((v) => v !== null && v <= 0)) legendLine(`1.5px solid ${zero.color}`, "none");
    if (values.some((v) => v === null)) legendLine(`3px dotted ${none.color}`, figure.without || "no figure: no stops found, or nothing to show");
    surroundings();
    const without = figure.without ? [...values.keys()].filter((k) => values[k] === null) : [];
    const order = [...values.keys()].filter((k) => values[k] !== null).sort((a, b) => (figure.low ? values[a] - values[b] : values[b] - values[a]) || a - b);
    const rows = without.concat(order).slice(0, 12).map((k) => entry(k, values[k] === null ? "no ring" : number(values[k])));
    at("worst").replaceChildren(...rows);
    roveOver(rows.map((row) => row.firstChild));
    at("sheet-figure").textContent = figure.label;
  };
  data.figures.forEach((figure, k) => {
    const option = build("option", { value: k }, figure.label);
    at("figure").append(option);
  });
  at("figure").value = String(data.chosen);
  at("figure").addEventListener("change", () => colour(data.figures[Number(at("figure").value)]));
  colour(data.figures[data.chosen]);

  const things = () => [
    ...data.ids.map((id, k) => ({ ...searchThing("Main", id, data.streets[k], null), k })),
    ...valves.map((one) => ({ ...one, open: one.marker })),
    ...data.stations.map((one) => ({ ...searchThing("Station", one.id, "regulator station", one.at), open: one.marker })),
  ];
  startSearch(map, (thing) => {
    if (thing.kind === "Main") show(thing.k);
    else { showPlace(map, thing.at, null, 17); near(); thing.open.openPopup(); }
  }, things);
  const bounds = L.latLngBounds([]);
  lines.forEach((line) => bounds.extend(line.getBounds()));
  if (bounds.isValid()) map.fitBounds(bounds, { padding: [30, 30], animate: false });
  near();
  startPrinting(map, { bounds: () => bounds, words: (scale) => scaleWords(scale, data.units) });
});
