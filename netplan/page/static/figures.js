// Three people's figures, the options by what differs, the stops and who is off; each against the pinned option.
import { byId, cell, state } from "/static/state.js";
import { drawKept } from "/static/kept_customers.js";
import { changed } from "/static/orders.js";

const NAMES = {
  planner: "Planner", notices: "Notices", engineer: "Engineer", stops: "stops", excavations: "excavations", burden: "burden",
  gap: "gap to the proof", meters_off: "meters off", meters_kept: "meters kept by feeds", standby: "customers on standby",
  priority: "priority customers off", feeds: "feeds", bores_mm: "bores [mm]", drops_mbar: "drops [mbar]",
  least_mbar: "least inlet [mbar]", margin_mbar: "margin [mbar]", coldest_air_c: "holds to [°C]",
};

function written(value) {
  if (value === null || value === undefined) return "–";
  return Array.isArray(value) ? value.map(written).join(", ") || "none" : String(value);
}

export function drawFigures() {
  const option = state.shown[state.chosen];
  for (const who of ["planner", "notices", "engineer"]) {
    const rows = byId("figures").querySelector(`[data-who="${who}"] tbody`);
    rows.replaceChildren();
    if (!option) continue;
    for (const [name, figure] of Object.entries(option[who])) {
      const row = document.createElement("tr");
      row.className = state.stale ? "stale" : "";
      row.dataset.figure = name;
      cell(row, NAMES[name] || name, "th").scope = "row";
      cell(row, written(figure.value));
      cell(row, state.stale ? `${figure.label}, of the order before` : figure.label);
      const was = state.pinned && state.pinned[who][name];
      const both = was && typeof was.value === "number" && typeof figure.value === "number";
      cell(row, both ? (figure.value - was.value > 0 ? "+" : "") + Number((figure.value - was.value).toFixed(3)) : "");
      rows.append(row);
    }
  }
  const tabs = byId("options");
  tabs.replaceChildren();
  state.shown.forEach((one, at) => {
    const tab = document.createElement("button");
    tab.type = "button";
    tab.role = "tab";
    tab.ariaSelected = String(at === state.chosen);
    tab.textContent = one.rank ? `option ${one.rank}: ${difference(one, state.shown[0])}` : "bound, by connectivity";
    tab.addEventListener("click", () => { state.chosen = at; drawFigures(); });
    tabs.append(tab);
  });
  byId("pin").disabled = !option || state.stale;
  const stops = byId("stops").querySelector("tbody"), off = byId("off").querySelector("tbody");
  stops.replaceChildren();
  off.replaceChildren();
  for (const [at, stop] of (option ? option.stops : []).entries()) {
    const row = document.createElement("tr"), name = stop.id || `S${at + 1}`;
    cell(row, name, "th").scope = "row";
    cell(row, stop.valve_id || `${stop.main_id} at ${stop.chainage_m} m`);
    cell(row, stop.method || stop.kind);
    const forbid = document.createElement("button");
    forbid.type = "button";
    forbid.textContent = "forbid";
    forbid.setAttribute("aria-label", `forbid ${name}`);
    forbid.addEventListener("click", () => changed((next) => { next.forbid.push(stop.valve_id || `${stop.main_id}:${stop.chainage_m}`); }));
    cell(row, "").append(forbid);
    stops.append(row);
  }
  for (const [, , name, address] of option ? option.off : []) {
    const row = document.createElement("tr");
    cell(row, name, "th").scope = "row";
    cell(row, address);
    off.append(row);
  }
  drawKept(option);
  drawMarks(option);
}

function difference(one, first) {
  if (one === first) return "cheapest";
  const places = (option) => new Set(option.stops.map((stop) => `${stop.valve_id || stop.main_id} ${stop.method || stop.kind}`));
  const own = [...places(one)].filter((place) => !places(first).has(place));
  const words = own.length ? `with ${own.join(", ")}` : "same stops";
  const meters = one.notices.meters_off.value - first.notices.meters_off.value;
  return meters ? `${words}, ${meters > 0 ? "+" : ""}${meters} meters off` : words;
}

async function drawMarks(option) {
  const { map } = state;
  if (!map || state.mode === "emergency") return;
  map.marks.stops = option ? option.stops : [];
  map.marks.zone = option ? option.zone : [];
  map.marks.off = option ? option.off : [];
  map.marks.kept = (option && option.kept) || [];
  map.marks.work = state.work;
  map.draw();
}

export function beginFigures() {
  byId("pin").addEventListener("click", () => { state.pinned = state.shown[state.chosen]; drawFigures(); });
}
