/* The layers of a plan and its legend, which are one list. A row: key, words, on, symbol, count, layer. Mains are
   counted by their length. */
function methodRows(option) {
  const seen = new Map(option.stops.map((stop) => [`${stop.kind} ${stop.method}`, stop]));
  return [...seen.values()].map((stop) => [`method-${stop.kind}`, `Stop: ${stop.method}`, null, swatch(SYMBOL.stop({ kind: stop.kind, id: "S" })),
    option.stops.filter((one) => one.kind === stop.kind && one.method === stop.method).length, null]);
}

function mainRow(option, key, words, state, on, make) {
  const things = option.pieces[state];
  return [key, words, on, lineSwatch(LINE[key]), things.length ? option.lengths[state] || "services" : 0, () => make(things)];
}

function ofOption(data, option, places) {
  const by = (effect) => option.customers.filter((c) => c.effect === effect);
  const feeds = (kind) => option.bypasses.filter((b) => b.kind === kind);
  const lines = (strokes) => (things) => linesLayer(things, strokes, "state");
  const fallbacks = fallbacksByPlace(option.fallback);
  return [
    ["stops", "Stops, S1 S2 … as in the plan", true, swatch(SYMBOL.stop({ kind: "bag", id: "S" })), option.stops.length, () => labelsLayer(option.stops, SYMBOL.stop, "stops", places, { rank: 0, size: (stop) => (stop.provisional ? [20, 20] : [17, 17]) })],
    ...methodRows(option),
    ["work", "Work section", true, lineSwatch(LINE.work), data.work_length, () => workLayer(data.work, places)],
    ["excavations", "Excavation", true, areaSwatch(EXCAVATION.fillColor, EXCAVATION.color), option.excavations.length, () => excavationsLayer(option.excavations)],
    mainRow(option, "isolated", "Isolated zone", "isolated", true, lines(LINE.isolated)),
    mainRow(option, "stranded", "Stranded part, no gas", "stranded", true, lines(LINE.stranded)),
    mainRow(option, "fed", "Part kept by a feed", "fed", true, lines(LINE.fed)),
    ["bypasses", "Bypass, with its flow", true, lineSwatch(LINE.bypass), feeds("bypass").length, () => bypassLayer(feeds("bypass"), LINE.bypass, places)],
    ["hoses", "Hose along its route, with its flow", true, lineSwatch(LINE.hose), feeds("hose").length, () => bypassLayer(feeds("hose"), LINE.hose, places)],
    ["opened_valves", "Valve opened as a feed", true, swatch(SYMBOL.opened()), option.opened_valves.length, () => marksLayer(option.opened_valves, SYMBOL.opened, "small")],
    ["off", "Customer off", true, swatch(SYMBOL.customer({ effect: "off" })), by("off").length, () => customersLayer(by("off"))],
    ["kept", "Customer kept by a feed", true, swatch(SYMBOL.customer({ effect: "kept" })), by("kept").length, () => customersLayer(by("kept"))],
    ["kept-standby", "Kept, but off if a stop fails (standby)", null, swatch(SYMBOL.customer({ effect: "kept", standby: true })), by("kept").filter((c) => c.standby).length, null],
    ["standby", "Standby without a feed", true, swatch(SYMBOL.customer({ effect: "standby" })), by("standby").length, () => customersLayer(by("standby"))],
    ["in_doubt", "Customer in doubt", true, swatch(SYMBOL.doubt({})), option.in_doubt.length, () => marksLayer(option.in_doubt, SYMBOL.doubt, "doubt")],
    ["priority", "Priority customer (ring)", null, swatch(SYMBOL.customer({ effect: "kept", priority: true })), option.customers.filter((c) => c.priority).length, null],
    ["weak", "Weak: below minimum without a feed", null, swatch(SYMBOL.customer({ effect: "kept", weak: true })), option.customers.filter((c) => c.weak).length, null],
    ["purge_points", "Purge point: ▲ in, ▼ vent", true, swatch(SYMBOL.purge({ role: "vent", id: "P" })), option.purge_points.length, () => labelsLayer(option.purge_points, SYMBOL.purge, "small", places, { rank: 3, minor: true, size: [15, 15] })],
    ["gauges", "Gauge", true, swatch(SYMBOL.gauge({ id: "G" })), option.gauges.length, () => labelsLayer(option.gauges, SYMBOL.gauge, "small", places, { rank: 4, minor: true, size: [12, 12] })],
    ["fallback", "Fallback of a stop", false, swatch(SYMBOL.fallback({ id: "F" })), fallbacks.length, () => labelsLayer(fallbacks, SYMBOL.fallback, "small", places, { rank: 5, minor: true, size: (thing) => [tagHalfWidth(thing.id, 11.5), 11] })],
    ["tappings", "Tappings (filled: barrier)", false, swatch(SYMBOL.tapping({ role: "vent" })), option.tappings.length, () => marksLayer(option.tappings, SYMBOL.tapping, "small")],
    ["refused", "No stop may go here", false, lineSwatch(LINE.refused), option.refused.length ? option.refused_length : 0, () => linesLayer(option.refused, LINE.refused, "refused")],
    mainRow(option, "other", "Main of another system", "other system", true, (things) => linesLayer(things, LINE.other, "refused")),
    ["closed", "Closed valve or pipe", true, swatch(SYMBOL.closed()), option.pieces.closed.length, () => closedLayer(option.pieces.closed)],
    ["stations", "Regulator station", true, swatch(SYMBOL.station()), option.stations.length, () => marksLayer(option.stations, SYMBOL.station, "small")],
    mainRow(option, "live", "Main in service near the work", "live", true, hitLayer),
  ];
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
