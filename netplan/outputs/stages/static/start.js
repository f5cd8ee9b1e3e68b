/* Every text of the data goes in as text, never as markup. */
document.addEventListener("DOMContentLoaded", () => {
  const data = JSON.parse(document.getElementById("stage-data").textContent);
  const map = map_plan;
  const at = (id) => document.getElementById(id);
  const build = (tag, text, ...inside) => {
    const made = document.createElement(tag);
    if (text !== null) made.textContent = text;
    made.append(...inside);
    return made;
  };
  map.attributionControl?.remove();
  L.control.zoom({ position: "bottomleft" }).addTo(map);
  L.control.scale({ position: "bottomleft", imperial: false, maxWidth: 160 }).addTo(map);
  at("heading").textContent = data.heading;
  at("window").textContent = data.window;
  at("caution").textContent = data.caution;
  const canvas = L.canvas({ tolerance: 6 });
  const pairs = (flat) => flat.reduce((all, value, k) => (k % 2 ? (all[all.length - 1].push(value), all) : [...all, [value]]), []);
  const legend = (css, words) => {
    const mark = build("i", null);
    mark.style.borderTop = css;
    at("legend").append(build("li", null, mark, build("span", words)));
  };
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
    legend(`${Math.min(style.weight, 6)}px ${style.dashArray ? "dashed" : "solid"} ${style.color}`, words);
  }
  for (const customer of data.customers) {
    L.circleMarker(customer.at, { renderer: canvas, radius: 4, weight: 1, color: "#1b1b1b", fillColor: "#d55e00", fillOpacity: 1 })
      .bindPopup(() => build("div", `${customer.words}: off`)).addTo(map);
    bounds.extend(customer.at);
  }
  legend("6px dotted #d55e00", `${data.customers.length} customers off`);
  data.stops.forEach((stop, k) => {
    const mark = L.marker(stop.at, { title: stop.words, icon: L.divIcon({ className: stop.before ? "stop before" : "stop", html: String(k + 1), iconSize: [22, 22] }) }).addTo(map);
    mark.bindPopup(() => build("div", stop.words));
    bounds.extend(stop.at);
    const button = build("button", null, build("span", stop.words), build("b", String(k + 1)));
    button.type = "button";
    button.addEventListener("click", () => { map.setView(stop.at, 19, { animate: false }); mark.openPopup(); });
    at("worst").append(build("li", null, button));
  });
  if (bounds.isValid()) map.fitBounds(bounds, { padding: [50, 50], maxZoom: 19, animate: false });
});
