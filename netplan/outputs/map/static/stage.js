/* Every text of the data goes in as text, never as markup. */
document.addEventListener("DOMContentLoaded", () => {
  const { data, map } = openPage();
  const canvas = L.canvas({ tolerance: 6 });
  const pairs = (flat) => flat.reduce((all, value, k) => (k % 2 ? (all[all.length - 1].push(value), all) : [...all, [value]]), []);
  const bounds = L.latLngBounds([]);
  for (const [name, words, style] of [
    ["mains", "mains", { color: "#0072b2", weight: 1.5, opacity: 0.6 }],
    ["renewal", "the whole renewal", { color: "#8d8778", weight: 9, opacity: 0.45 }],
    ["zones", "without gas in this stage", { color: "#d55e00", weight: 4, dashArray: "7 5" }],
    ["work", "work of this stage", { color: "#1b1b1b", weight: 6 }],
  ]) {
    const lines = data[name].map(pairs);
    const drawn = L.polyline(lines, { renderer: canvas, interactive: false, ...style }).addTo(map);
    if (name === "zones" || name === "work") bounds.extend(drawn.getBounds());
    legendLine(`${Math.min(style.weight, 6)}px ${style.dashArray ? "dashed" : "solid"} ${style.color}`, words);
  }
  for (const customer of data.customers) {
    L.circleMarker(customer.at, { renderer: canvas, radius: 4, weight: 1, color: "#1b1b1b", fillColor: "#d55e00", fillOpacity: 1 })
      .bindPopup(() => build("div", {}, `${customer.words}: off`)).addTo(map);
    bounds.extend(customer.at);
  }
  legendLine("6px dotted #d55e00", `${data.customers.length} customers off`);
  data.stops.forEach((stop, k) => {
    const mark = L.marker(stop.at, { title: stop.words, icon: L.divIcon({ className: stop.before ? "stop before" : "stop", html: String(k + 1), iconSize: [22, 22] }) }).addTo(map);
    mark.bindPopup(() => build("div", {}, stop.words));
    bounds.extend(stop.at);
    at("worst").append(listEntry(stop.words, String(k + 1), () => { map.setView(stop.at, 19, { animate: false }); mark.openPopup(); }));
  });
  if (bounds.isValid()) map.fitBounds(bounds, { padding: [50, 50], maxZoom: 19, animate: false });
});
