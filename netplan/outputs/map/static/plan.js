/* Start: read the data, draw the best option, and wait for the reader. */
document.addEventListener("DOMContentLoaded", () => {
  const { data, map } = openPage();
  makePanes(map);
  at("origin").textContent = `Network ${data.network.digest}, ${data.network.crs}. Reference conditions 15 °C, 101.325 kPa; pressures are gauge.`;

  const places = data.work.flatMap((w) => pairs(w.line));
  const centre = L.latLngBounds(places.length ? places : [map.getCenter()]).getCenter();
  const outward = (place) => {
    const [dx, dy] = [(place[1] - centre.lng) * Math.cos((place[0] * Math.PI) / 180), centre.lat - place[0]];
    const size = Math.hypot(dx, dy);
    return size > 1e-9 ? [dx / size, dy / size] : [0, -1];
  };
  const count = (n, word) => `${n} ${word}${n === 1 ? "" : "s"}`;
  const layers = new Layers(map);
  let current = null;

  const frame = () => {
    const bounds = L.latLngBounds(places);
    for (const stop of current.stops) bounds.extend(stop.at);
    for (const bypass of current.bypasses) for (const place of pairs(bypass.line)) bounds.extend(place);
    for (const hole of current.excavations) for (const place of pairs(hole.line)) bounds.extend(place);
    for (const customer of current.customers) if (customer.effect === "off" && customer.at) bounds.extend(customer.at);
    if (bounds.isValid()) map.fitBounds(bounds, { padding: [70, 70], maxZoom: 19.5, animate: false });
  };
  const buttons = data.options.map((option) => {
    const words = Object.fromEntries(option.facts);
    const button = build("button", { type: "button", role: "radio", "data-option": option.rank }, build("b", {}, `Option ${option.rank}`),
      build("span", {}, `${count(option.stops.length, "stop")}, ${words["meters off"]} off`));
    button.addEventListener("click", () => choose(option));
    return button;
  });
  const choose = (option) => {
    current = option;
    map.closePopup();
    buttons.forEach((b) => b.setAttribute("aria-checked", String(b.dataset.option === String(option.rank))));
    fillFacts(option);
    layers.show([...ofOption(data, option, outward), ...baseRows(data)], at("layers"));
    fillStops(option, map);
    fillFeeds(option);
    fillDoubts(option, map);
    at("fold-text").textContent = `Option ${option.rank}: ${count(option.stops.length, "stop")}, ${Object.fromEntries(option.facts)["meters off"]} meters off`;
    frame();
    detail();
  };
  at("options").append(...buttons);

  /* Streets have their true width on the ground, at every scale. */
  const detail = () => {
    const pixels = (2 ** map.getZoom() * 256) / (40075016.7 * Math.cos((centre.lat * Math.PI) / 180));
    const widen = (line) => line.options.metres && line.setStyle({ weight: Math.max(line.options.least, line.options.metres * pixels + line.options.least - 2) });
    layers.shown.streets?.eachLayer(widen);
    const box = map.getContainer().classList;
    box.toggle("far", map.getZoom() < 16.5);
    box.toggle("near", map.getZoom() >= 18);
    box.toggle("middling", map.getZoom() < 18.25);
  };
  map.on("zoomend", detail);
  if (data.options.length) choose(data.options[0]);
  startSearch(data, map);

  let before = null;
  const toPaper = () => {
    before = before || { centre: map.getCenter(), zoom: map.getZoom() };
    const bounds = map.getBounds();
    map.invalidateSize({ animate: false });
    map.fitBounds(bounds, { animate: false });
    const width = map.getSize().x, y = map.getSize().y / 2;
    const metres = map.distance(map.containerPointToLatLng([0, y]), map.containerPointToLatLng([width, y]));
    const paper = (width * 25.4) / 96 / 1000;
    at("sheet").textContent = `Scale about 1 : ${Math.round(metres / paper / 10) * 10} on A3. Option ${current?.rank ?? "–"}.`;
  };
  const toScreen = () => {
    if (!before) return;
    map.invalidateSize({ animate: false });
    map.setView(before.centre, before.zoom, { animate: false });
    before = null;
  };
  window.matchMedia("print").addEventListener("change", (event) => (event.matches ? toPaper() : toScreen()));
  window.addEventListener("beforeprint", toPaper);
  window.addEventListener("afterprint", toScreen);
  at("print").addEventListener("click", () => window.print());
});
