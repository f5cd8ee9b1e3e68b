/* A stage of a renewal: its work, its stops, who is off, and the command that plans it. */
document.addEventListener("DOMContentLoaded", () => {
  const { data, map } = openPage();
  makePanes(map);
  const baseNames = baseLayers(map, data.around);
  const canvas = L.canvas({ tolerance: 6 });
  const bounds = L.latLngBounds([]);
  const choose = (title, parts) => {
    const box = () => commandBox(planCommand(data.command, parts));
    at("chosen").replaceChildren(build("h2", {}, title), box());
    return box;
  };
  const tapped = (main) => {
    const own = data.parts.filter(([id]) => id === main.id);
    const box = choose(`Plan main ${main.id}`, own.length ? own : [[main.id, 0, main.length_m]]);
    return build("div", {}, popupOf({ title: `Main ${main.id}`, rows: main.street ? [["street", main.street]] : [] })(), box());
  };
  const lines = data.mains.map((main) => L.polyline(pairs(main.line), { renderer: canvas, color: COLOUR.live, weight: 2.5, opacity: 0.7 }).bindPopup(() => tapped(main), { maxWidth: 320 }).addTo(map));
  legendLine(`2.5px solid ${COLOUR.live}`, "main: tap it for its plan command");
  for (const [name, words, style] of [
    ["renewal", "the whole renewal", { color: "#8d8778", weight: 9, opacity: 0.45 }],
    ["zones", "without gas in this stage", { color: COLOUR.off, weight: 4, dashArray: "7 5" }],
    ["work", "work of this stage", { color: INK, weight: 6 }],
    ["hoses", "bypass or hose of this stage", { color: COLOUR.feed, weight: 5 }],
  ]) {
    if (!data[name].length) continue;
    const drawn = L.polyline(data[name].map(pairs), { renderer: canvas, interactive: false, ...style }).addTo(map);
    if (name !== "renewal") bounds.extend(drawn.getBounds());
    legendLine(`${Math.min(style.weight, 6)}px ${style.dashArray ? "dashed" : "solid"} ${style.color}`, words);
  }
  for (const customer of data.customers) {
    L.circleMarker(customer.at, { renderer: canvas, radius: 4, weight: 1, color: INK, fillColor: COLOUR.off, fillOpacity: 1 })
      .bindPopup(() => build("div", {}, `${customer.words}: off`)).addTo(map);
    bounds.extend(customer.at);
  }
  legendLine(`6px dotted ${COLOUR.off}`, `${data.customers.length} customers off`);
  const valves = searchThings({ Valve: data.valves });
  if (valves.length) {
    valvesLayer(valves, canvas).addTo(map);
    legendSymbol(swatch(SYMBOL.valve()), "valve");
  }
  if (data.stations.length) {
    roveMarks(marksLayer(data.stations, SYMBOL.station, "small").addTo(map));
    legendSymbol(swatch(SYMBOL.station()), "regulator station");
  }

  const places = new LabelPlaces(map, () => data.customers.map((customer) => [customer.at, 5, 12]));
  places.outward = (place) => {
    const centre = bounds.getCenter();
    return [(place.lng - centre.lng) * Math.cos((place.lat * Math.PI) / 180) || 1e-9, centre.lat - place.lat];
  };
  for (const stop of data.stops) {
    stop.title = `Stop ${stop.id}`;
    stop.rows = [["", stop.words]];
    bounds.extend(stop.at);
  }
  roveMarks(labelsLayer(data.stops, SYMBOL.stop, "stops", places, { rank: 0, size: [17, 17] }).addTo(map));
  for (const kind of new Set(data.stops.map((stop) => stop.kind))) legendSymbol(swatch(SYMBOL.stop({ kind, id: "S" })), { bag: "stop by a bag", squeeze: "stop by a squeeze", valve: "stop by a valve" }[kind]);
  if (data.stops.some((stop) => stop.before)) legendSymbol(swatch(SYMBOL.stop({ kind: "bag", id: "S", before: true })), "white: at a stop of the stage before");
  baseLegend(baseNames);
  const rows = data.stops.map((stop) => listEntry(stop.words, stop.id, () => showPlace(map, stop.at, stop.marker)));
  at("worst").append(...rows);
  roveOver(rows.map((row) => row.firstChild));
  choose("Plan this stage", data.parts);

  startSearch(map, (thing) => {
    showPlace(map, thing.at);
    const line = thing.kind === "Main" && lines[data.mains.findIndex((main) => main.id === thing.id)];
    const valve = thing.kind === "Valve" && valves.find((one) => one.id === thing.id);
    if (line) line.openPopup();
    else if (valve) valve.marker.openPopup();
    else L.popup({ offset: [0, -4] }).setLatLng(thing.at).setContent(popupOf({ title: thing.words, rows: [["meter point", thing.id], ["effect", "off"]] })()).openOn(map);
  });
  const padding = { paddingTopLeft: [60, 60], paddingBottomRight: [60, 115], maxZoom: 19.5, animate: false };
  if (bounds.isValid()) map.fitBounds(bounds, padding);
  places.layout();
  startPrinting(map, { bounds: () => bounds.pad(0.08), placed: () => places.layout(), words: (scale) => scaleWords(scale, data.units) });
});
