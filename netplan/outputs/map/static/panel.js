/* The panel of a plan: layers, facts, stops, feeds and customers. */
class Layers {
  constructor(map) { this.map = map; this.shown = {}; this.wanted = {}; }

  show(rows, list) {
    for (const layer of Object.values(this.shown)) layer.remove();
    this.shown = {};
    list.replaceChildren(...rows.map((row) => this.row(...row)));
    roveOver([...list.querySelectorAll("input")]);
  }

  row(key, name, on, picture, count, make) {
    const item = build("li", count === 0 ? { class: "empty hidden" } : {});
    const label = build(make ? "label" : "div", { class: "row" });
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
    if (on) {
      this.shown[key] = this.shown[key] || make();
      this.shown[key].addTo(this.map);
      roveMarks(this.shown[key]);
    } else if (this.shown[key]) { this.shown[key].remove(); delete this.shown[key]; }
  }
}

function fillFacts(option) {
  at("facts").replaceChildren(...option.facts.map(([name, value]) => build("tr", {}, build("th", { scope: "row" }, name), build("td", {}, value))));
  at("warnings").replaceChildren(...option.warnings.map((text) => build("p", {}, text)));
}

/* A button of a list with its symbol, which leads to the mark on the map. */
function leadTo(map, thing, symbol, words) {
  const button = build("button", { type: "button" }, swatch(symbol(thing), 30), build("span", {}, words));
  button.addEventListener("click", () => { if (thing.at) showPlace(map, thing.at, thing.marker); });
  return button;
}

function leadingList(map, list, things, symbol, words) {
  const buttons = things.map((thing) => leadTo(map, thing, symbol, words(thing)));
  list.replaceChildren(...buttons.map((button) => build("li", {}, button)));
  roveOver(buttons);
  return list;
}

function fillStops(option, map) { leadingList(map, at("stop-list"), option.stops, SYMBOL.stop, (stop) => stop.line); }

function fillFeeds(option) {
  const lines = [...option.bypasses, ...option.opened_valves].map((feed) => build("p", {}, feed.line_text));
  at("feeds").replaceChildren(...(lines.length ? [build("h2", {}, "Feeds"), ...lines] : []));
}

/* Customers by effect, folded; who is on standby is said in the list, and how many they are in its heading. */
function fillCustomers(option, map) {
  const groups = [["off", "Off"], ["kept", "Kept by a feed"], ["standby", "On standby without a feed"]];
  const parts = groups.flatMap(([effect, name]) => {
    const things = option.customers.filter((c) => c.effect === effect);
    if (!things.length) return [];
    const standing = effect === "kept" ? things.filter((c) => c.standby).length : 0;
    const fold = build("details", { "data-effect": effect }, build("summary", {}, `${name}: ${things.length}${standing ? `, ${standing} of them on standby` : ""}`));
    fold.addEventListener("toggle", () => {
      if (!fold.querySelector("ul")) fold.append(leadingList(map, build("ul", {}), things, SYMBOL.customer, (c) => `${c.title || c.id}${c.standby && effect !== "standby" ? ", on standby" : ""}`));
    });
    return [fold];
  });
  at("customers").replaceChildren(...(parts.length ? [build("h2", {}, "Customers"), ...parts] : []));
}

/* Customers in doubt, with the records to prove; those with a priority stand first. */
function fillDoubts(option, map) {
  const list = leadingList(map, build("ol", { id: "doubt-list" }), option.in_doubt, SYMBOL.doubt, (thing) => thing.line);
  at("doubts").replaceChildren(...(option.in_doubt.length ? [build("h2", {}, "Customers in doubt"), list] : []));
}
