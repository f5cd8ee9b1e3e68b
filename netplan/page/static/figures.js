// Three people's figures, the options by what differs, the stops and who is off; each against the pinned option.
import { byId, cell, state } from "/static/state.js";
import { drawCustomers } from "/static/customer_tables.js";
import { drawNotes } from "/static/notes.js";
import { changed } from "/static/orders.js";
import { drawPinned, pinnedToCompare, pinnedMarks } from "/static/pinned.js";

const FIGURES = {
  planner: { stops: "stops", holes: "holes for stops", excavations: "excavations", burden: "burden", gap: "gap to the proof" },
  notices: {
    meters_off: "meters off", meters_kept: "meters kept by feeds", standby: "customers on standby", priority: "priority customers off",
    calls_due: "calls due by",
  },
  engineer: {
    feeds: "feeds", flow_m3h: "flow [m³/h]", bores_mm: "bores [mm]", drops_mbar: "drops [mbar]", least_mbar: "least inlet [mbar]",
    worst_inlet: "worst inlet at", margin_mbar: "margin [mbar]", coldest_air_c: "holds to [°C]",
  },
};

function written(value) {
  if (value === null || value === undefined || value === "") return "–";
  return Array.isArray(value) ? value.map(written).join(", ") || "none" : String(value);
}

function label(figure) {
  if (!figure || figure.value === null) return state.done ? "" : "not solved yet";
  return state.stale ? `${figure.label}, of the order before` : figure.label;
}

function drawColumns(option) {
  const against = pinnedToCompare();
  for (const [who, names] of Object.entries(FIGURES)) {
    const rows = byId("figures").querySelector(`[data-who="${who}"] tbody`);
    rows.replaceChildren();
    if (!option) continue;
    for (const [name, words] of Object.entries(names)) {
      const figure = option[who][name], was = against && against[who][name], row = document.createElement("tr");
      row.className = state.stale ? "stale" : "";
      row.dataset.figure = name;
      cell(row, name === "burden" ? `${words} [${state.map.facts.currency}]` : words, "th").scope = "row";
      cell(row, written(figure && figure.value));
      cell(row, label(figure));
      cell(row, figure && was ? change(figure.value, was.value) : "");
      rows.append(row);
    }
  }
}

function change(value, was) {
  if (value === null || was === null) return "";
  if (typeof value === "number" && typeof was === "number") return (value - was > 0 ? "+" : "") + Number((value - was).toFixed(3));
  return written(value) === written(was) ? "same" : `was ${written(was)}`;
}

function drawTabs() {
  const tabs = byId("options");
  tabs.replaceChildren();
  state.shown.forEach((one, at) => {
    const tab = document.createElement("button");
    tab.type = "button";
    tab.role = "tab";
    tab.ariaSelected = String(at === state.chosen);
    tab.textContent = one.rank ? `option ${one.rank}: ${one.words}` : "bound, by connectivity";
    tab.addEventListener("click", () => { state.chosen = at; drawFigures(); });
    tabs.append(tab);
  });
}

function why(stop) {
  if (!stop.why) return [];
  const more = document.createElement("details"), head = document.createElement("summary"), words = document.createElement("p");
  head.textContent = "why there";
  words.textContent = stop.why;
  more.append(head, words);
  return [more];
}

function drawStops(option) {
  const stops = byId("stops").querySelector("tbody");
  stops.replaceChildren();
  for (const [at, stop] of (option ? option.stops : []).entries()) {
    const row = document.createElement("tr"), name = stop.id || `S${at + 1}`;
    cell(row, name, "th").scope = "row";
    cell(row, stop.valve_id || `${stop.main_id} at ${stop.chainage_m} m`);
    cell(row, stop.method || stop.kind).append(...why(stop));
    const forbid = document.createElement("button");
    forbid.type = "button";
    forbid.textContent = "forbid";
    forbid.setAttribute("aria-label", `forbid ${name}`);
    forbid.addEventListener("click", () => changed((next) => { next.forbid.push(stop.forbid); }));
    cell(row, "").append(forbid);
    stops.append(row);
  }
}

export function drawFigures() {
  const option = state.shown[state.chosen];
  drawColumns(option);
  drawTabs();
  drawPinned(option);
  drawStops(option);
  drawCustomers(option);
  drawNotes(option);
  drawMarks(option);
}

async function drawMarks(option) {
  const { map } = state;
  if (!map || state.mode === "emergency") return;
  map.marks.stops = option ? option.stops : [];
  map.marks.zone = option ? option.zone : [];
  map.marks.off = option ? option.off : [];
  map.marks.kept = (option && option.kept) || [];
  map.marks.feeds = (option && option.feeds) || [];
  map.marks.pinned = pinnedMarks();
  map.marks.work = state.work;
  map.draw();
}
