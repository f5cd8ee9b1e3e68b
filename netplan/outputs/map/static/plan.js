/* Start: read the data, draw the best option, and wait for the reader. */
document.addEventListener("DOMContentLoaded", () => {
  const { data, map } = openPage();
  const us = data.units === "us";
  makePanes(map);
  at("origin").textContent = `Network ${data.network.digest}, ${data.network.crs}. Reference conditions ${data.reference}; pressures are gauge.`;
  at("print").textContent = us ? "Print one 11 × 17 in sheet" : "Print one A3 sheet";

  const work = data.work.flatMap((w) => pairs(w.line));
  const centre = L.latLngBounds(work.length ? work : [map.getCenter()]).getCenter();
  let current = null;
  /* Kept clear of labels: the work, and less strictly customers and bypasses. */
  const along = data.work.flatMap((w) => (w.line.length > 3 ? stepsAlong(pairs(w.line), 12) : [])).map((place) => [place, 7, STRICT]);
  const obstacles = () => [
    ...along,
    ...(current ? current.customers.filter((c) => c.at).map((c) => [c.at, 8, 12]) : []),
    ...(current ? current.bypasses.flatMap((b) => pairs(b.line)).map((place) => [place, 4, 40]) : []),
  ];
  const places = new LabelPlaces(map, obstacles);
  places.outward = (place) => {
    const [dx, dy] = [(place.lng - centre.lng) * Math.cos((place.lat * Math.PI) / 180), centre.lat - place.lat];
    return Math.hypot(dx, dy) > 1e-9 ? [dx, dy] : [1, -0.6];
  };
  const count = (n, word) => `${n} ${word}${n === 1 ? "" : "s"}`;
  const layers = new Layers(map);

  const boundsOf = (option, all) => {
    const bounds = L.latLngBounds(work);
    for (const stop of option.stops) bounds.extend(stop.at);
    if (!all) return bounds;
    for (const line of [...option.bypasses, ...option.excavations]) for (const place of pairs(line.line)) bounds.extend(place);
    for (const customer of option.customers) if (customer.at) bounds.extend(customer.at);
    return bounds;
  };
  const frame = (all) => {
    const bounds = boundsOf(current, all);
    if (bounds.isValid()) map.fitBounds(bounds, { paddingTopLeft: [70, 60], paddingBottomRight: [70, 115], maxZoom: 20, animate: false });
  };
  at("show-work").addEventListener("click", () => { if (onPhone()) openPanel(false); frame(false); });
  at("show-all").addEventListener("click", () => { if (onPhone()) openPanel(false); frame(true); });

  const off = (option) => Object.fromEntries(option.facts)["meters off"];
  const buttons = data.options.map((option) => {
    const button = build("button", { type: "button", role: "radio", "data-option": option.rank }, build("b", {}, `Option ${option.rank}: ${count(option.stops.length, "stop")}, ${off(option)} meters off`),
      build("span", {}, option.differs));
    button.addEventListener("click", () => choose(option));
    return button;
  });
  const choose = (option) => {
    current = option;
    map.closePopup();
    buttons.forEach((b) => b.setAttribute("aria-checked", String(b.dataset.option === String(option.rank))));
    fillFacts(option);
    layers.show([...ofOption(data, option, places), ...baseRows(data)], at("layers"));
    fillStops(option, map);
    fillFeeds(option);
    fillCustomers(option, map);
    fillDoubts(option, map);
    at("fold-text").textContent = `Option ${option.rank}: ${count(option.stops.length, "stop")}, ${off(option)} meters off`;
    frame(false);
    detail();
    places.layout();
  };
  at("options").append(...buttons);
  roveOver(buttons, 0, (k) => choose(data.options[k]));

  const detail = startDetail(map, () => layers.shown.streets);
  if (data.options.length) choose(data.options[0]);

  /* What is found and drawn already opens its own popup; all else gets a short one. */
  startSearch(map, (thing) => {
    const drawn = [...(current?.customers || []), ...(current?.opened_valves || [])].find((one) => one.id === thing.id)?.marker;
    if (drawn && map.hasLayer(drawn)) { showPlace(map, thing.at, drawn); return; }
    showPlace(map, thing.at);
    const isMeter = thing.kind === "Meter point";
    const rows = isMeter ? [["meter point", thing.id]] : [[thing.kind === "Main" ? "street" : "where", thing.words]];
    const said = { title: isMeter ? thing.words || thing.id : `${thing.kind} ${thing.id}`, rows: rows.filter(([, value]) => value) };
    L.popup({ offset: [0, -8] }).setLatLng(thing.at).setContent(popupOf(said)()).openOn(map);
  });
  startPrinting(map, { bounds: () => map.getBounds(), placed: () => places.layout(), words: (scale) => `${scaleWords(scale, data.units)} Option ${current?.rank ?? "–"}.` });
});
