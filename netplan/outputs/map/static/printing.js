/* One sheet of paper: the map is fitted to it, and put back after. */
function startPrinting(map, { bounds, words, placed }) {
  let before = null;
  const toPaper = () => {
    before = before || { centre: map.getCenter(), zoom: map.getZoom(), bounds: bounds() };
    map.invalidateSize({ animate: false });
    if (before.bounds.isValid()) map.fitBounds(before.bounds, { animate: false });
    placed?.();
    const width = map.getSize().x, y = map.getSize().y / 2;
    const metres = map.distance(map.containerPointToLatLng([0, y]), map.containerPointToLatLng([width, y]));
    const scale = Math.round(metres / ((width * 25.4) / 96 / 1000) / 10) * 10;
    at("sheet").textContent = words(scale);
    shrink(map.getSize().y);
  };
  const toScreen = () => {
    if (!before) return;
    map.invalidateSize({ animate: false });
    map.setView(before.centre, before.zoom, { animate: false });
    placed?.();
    at("panel-body").style.zoom = "";
    at("panel").classList.remove("fits");
    before = null;
  };
  window.matchMedia("print").addEventListener("change", (event) => (event.matches ? toPaper() : toScreen()));
  window.addEventListener("beforeprint", toPaper);
  window.addEventListener("afterprint", toScreen);
  at("print").addEventListener("click", () => window.print());
}

/* Write the panel smaller, down to two thirds, where that keeps it on the sheet of the map; else it goes on overleaf. */
function shrink(height) {
  at("panel").classList.remove("fits");
  for (const zoom of [1, 0.94, 0.88, 0.82, 0.76, 0.7, 0.66]) {
    at("panel-body").style.zoom = zoom;
    if (at("panel").getBoundingClientRect().height > height) continue;
    at("panel").classList.add("fits");
    return;
  }
}

/* "Scale about 1 : 500 on A3", or "1 : 500 (1 in is 42 ft)" on the sheet of US units. */
function scaleWords(scale, units) {
  return units === "us" ? `Scale about 1 : ${scale} (1 in is ${Math.round(scale / 12)} ft) on 11 × 17 in.` : `Scale about 1 : ${scale} on A3.`;
}
