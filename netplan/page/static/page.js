// The page: what is ordered, what is answered, three people's figures. Text from data is never markup.
import { NetworkMap } from "/static/map.js";

const NAMES = {
  planner: "Planner", notices: "Notices", engineer: "Engineer", stops: "stops", excavations: "excavations", burden: "burden",
  gap: "gap to the proof", meters_off: "meters off", meters_kept: "meters kept by feeds", standby: "customers on standby",
  priority: "priority customers off", feeds: "feeds", bores_mm: "bores [mm]", drops_mbar: "drops [mbar]",
  least_mbar: "least inlet [mbar]", margin_mbar: "margin [mbar]", coldest_air_c: "holds to [°C]",
};
const byId = (id) => document.getElementById(id);
const state = { csrf: "", revision: 0, orders: empty(), before: [], shown: [], chosen: 0, pinned: null, stale: true, sending: false, shownRevision: 0, work: [], ghost: null, map: null };

function empty() {
  return { work: [], force: [], forbid: [], keep_out: [], keep_on: [], own_supply: [], max_stops: 0, options: 0, no_bypass: false, start: "", hours: null, air_temp_c: null };
}

function cell(row, text, tag = "td") {
  const made = document.createElement(tag);
  made.textContent = text;
  row.append(made);
  return made;
}

async function letIn() {
  const token = location.hash.slice(1);
  if (token) {
    const answer = await fetch("/session", { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify({ token }) });
    history.replaceState(null, "", "/");
    if (answer.ok) return (await answer.json()).csrf;
  }
  const answer = await fetch("/session");
  if (!answer.ok) throw new Error(await answer.text());
  return (await answer.json()).csrf;
}

async function write(path, body) {
  const answer = await fetch(path, { method: "POST", headers: { "content-type": "application/json", "x-netplan-page": state.csrf }, body: JSON.stringify(body) });
  if (!answer.ok) throw new Error(await answer.text());
  return answer.json();
}

async function order(next, remember = true) {
  if (remember) state.before.push(JSON.stringify(state.orders));
  state.orders = next;
  state.stale = true;
  drawOrders();
  drawFigures();
  if (state.sending) return;
  // One at a time, and only the newest: what was ordered meanwhile goes out when the one before has arrived.
  state.sending = true;
  let sent = null;
  while (sent !== state.orders) {
    sent = state.orders;
    try {
      const taken = await write("/orders", sent);
      state.revision = Math.max(state.revision, taken.revision);
      byId("state").textContent = sent.work.length ? "working it out" : "Point at a main.";
    } catch (error) {
      byId("state").textContent = String(error.message);
    }
  }
  state.sending = false;
  state.stale = state.shownRevision !== state.revision;
  drawFigures();
}

function changed(change) {
  const next = structuredClone(state.orders);
  change(next);
  return order(next);
}

function drawOrders() {
  const rows = byId("work-rows");
  rows.replaceChildren();
  state.orders.work.forEach((work, at) => {
    const row = document.createElement("tr");
    for (const key of ["main_id", "from_m", "to_m"]) {
      const field = document.createElement("input");
      field.value = work[key];
      field.setAttribute("aria-label", `${key === "main_id" ? "main" : key === "from_m" ? "from" : "to"} of length ${at + 1}`);
      field.addEventListener("change", () => changed((next) => { next.work[at][key] = key === "main_id" ? field.value.trim() : Number(field.value); }));
      cell(row, "").append(field);
    }
    const away = document.createElement("button");
    away.type = "button";
    away.textContent = "remove";
    away.addEventListener("click", () => changed((next) => { next.work.splice(at, 1); }));
    cell(row, "").append(away);
    rows.append(row);
  });
  const list = byId("order-list");
  list.replaceChildren();
  for (const [kind, words] of [["force", "a stop at"], ["forbid", "no stop at"], ["keep_on", "stays on:"], ["own_supply", "own supply:"]])
    state.orders[kind].forEach((name, at) => {
      const item = document.createElement("li");
      item.textContent = `${words} ${name} `;
      const away = document.createElement("button");
      away.type = "button";
      away.textContent = "take back";
      away.addEventListener("click", () => changed((next) => { next[kind].splice(at, 1); }));
      item.append(away);
      list.append(item);
    });
  byId("undo").disabled = !state.before.length;
}

function written(value) {
  if (value === null || value === undefined) return "–";
  return Array.isArray(value) ? value.map(written).join(", ") || "none" : String(value);
}

function drawFigures() {
  const rows = byId("figures").querySelector("tbody"), option = state.shown[state.chosen];
  rows.replaceChildren();
  for (const who of ["planner", "notices", "engineer"]) {
    if (!option) break;
    const head = document.createElement("tr");
    cell(head, NAMES[who], "th").colSpan = 4;
    rows.append(head);
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
  if (!map) return;
  map.marks.stops = option ? option.stops : [];
  map.marks.zone = option ? option.zone : [];
  map.marks.off = option ? option.off : [];
  map.marks.kept = (option && option.kept) || [];
  map.marks.work = state.work;
  map.draw();
}

function hear(answer) {
  // The answer may be here before the server has said that it took the order.
  if (answer.revision < state.revision) return;
  state.revision = answer.revision;
  if (answer.stage === "progress") { if (answer.words) byId("state").textContent = answer.words; return; }
  if (answer.stage === "failed") { byId("state").textContent = [answer.words, ...answer.reasons].join("; "); state.shown = []; }
  else if (answer.stage === "bound") { state.shown = [answer]; state.chosen = 0; state.work = answer.work; }
  else if (answer.options) { state.shown = answer.options; state.chosen = Math.min(state.chosen, answer.options.length - 1); }
  if (answer.stage === "done") byId("state").textContent = "all of it worked out";
  if (answer.stage === "replaced") { byId("state").textContent = answer.words; return; }
  state.stale = state.sending;
  document.body.dataset.stage = answer.stage;
  state.shownRevision = answer.revision;
  document.body.dataset.revision = String(answer.revision);
  drawFigures();
}

async function point(x, y, reach) {
  if (byId("emergency-mode").checked) { await emergency(x, y); return; }
  byId("emergency").hidden = true;
  state.map.marks.hit = [];
  const found = await (await fetch(`/main?x=${x}&y=${y}&reach=${reach}`)).json();
  if (!found) { byId("map-say").textContent = "no main there"; return; }
  byId("map-say").textContent = `${found.main_id} ${found.street}, ${found.material} ${found.od_mm} mm, at ${found.chainage_m} m`;
  const half = Math.min(2, found.length_m / 2), middle = Math.min(Math.max(found.chainage_m, half), found.length_m - half);
  const round = (value) => Math.round(value * 1000) / 1000;
  await changed((next) => { next.work = [{ main_id: found.main_id, from_m: round(middle - half), to_m: round(middle + half) }]; });
}

function drag(phase, px, py) {
  // A stop is taken hold of, a ghost of it runs along the mains, and letting go is an order.
  const { map } = state, option = state.shown[state.chosen];
  if (phase === "begin") {
    const near = option && option.stops.find((stop) => Math.hypot(...map.toScreen(stop.x, stop.y).map((at, axis) => at - [px, py][axis])) < 14);
    state.ghost = near ? { stop: near, main: "", at: 0, asking: false } : null;
    return Boolean(near);
  }
  if (phase === "move") { snap(...map.toPlane(px, py)); return true; }
  const { ghost } = state;
  state.ghost = null;
  map.marks.ghost = null;
  map.draw();
  if (!ghost.main) return true;
  const was = ghost.stop.valve_id || `${ghost.stop.main_id}:${ghost.stop.chainage_m}`;
  changed((next) => { next.force = next.force.filter((name) => name !== was); next.force.push(`${ghost.main}:${ghost.at}`); });
  return true;
}

async function snap(x, y) {
  const { ghost, map } = state;
  if (!ghost || ghost.asking) return;
  ghost.asking = true;
  const found = await (await fetch(`/main?x=${x}&y=${y}&reach=${40 * map.metres}`)).json();
  ghost.asking = false;
  if (!found || state.ghost !== ghost) return;
  ghost.main = found.main_id;
  ghost.at = found.chainage_m;
  map.marks.ghost = [found.x, found.y];
  byId("map-say").textContent = `stop to ${found.main_id} at ${found.chainage_m} m`;
  map.draw();
}

const hit = { at: null, failed: [] };

async function emergency(x, y) {
  if (!hit.at || hit.at[0] !== x || hit.at[1] !== y) { hit.at = [x, y]; hit.failed = []; }
  byId("emergency").hidden = false;
  try { showEmergency(await write("/emergency", { x, y, failed: hit.failed })); }
  catch (error) { byId("hit").textContent = String(error.message); }
}

function showEmergency(answer) {
  byId("governs").textContent = answer.governs;
  const lines = (list, texts) => list.replaceChildren(...texts.map((text) => { const item = document.createElement("li"); item.textContent = text; return item; }));
  lines(byId("make-safe"), answer.make_safe);
  lines(byId("emergency-log"), answer.log.map((entry) => `${entry.at}: ${entry.what}`));
  const mains = answer.hits.map((one) => `${one.main_id} (${one.distance_m} m away)`).join(", ");
  byId("hit").textContent = `Hit: ${mains}. No stop within ${answer.keep_away_m} m. No gas back until every meter is shut.`;
  const rings = byId("rings");
  rings.replaceChildren();
  for (const ring of answer.rings) {
    const head = document.createElement("h3"), first = document.createElement("ul"), list = document.createElement("ol");
    head.textContent = `${ring.kind === "valves" ? "Valve ring" : "Fastest ring"}, ${ring.aim}: ${ring.minutes} min, ${ring.meters} meters off`;
    lines(first, ring.do_first.map((line) => `FIRST: ${line}`));
    for (const stop of ring.stops) {
      const item = document.createElement("li");
      item.textContent = `${stop.place} (${stop.minutes} min) `;
      if (stop.valve_id) {
        const failed = document.createElement("button");
        failed.type = "button";
        failed.textContent = "failed";
        failed.setAttribute("aria-label", `valve ${stop.valve_id} failed`);
        failed.addEventListener("click", () => { hit.failed.push(stop.valve_id); emergency(...hit.at); });
        item.append(failed);
      }
      list.append(item);
    }
    rings.append(head, first, list);
  }
  state.map.marks.stops = answer.rings[0].stops.map((stop) => ({ ...stop, id: `${stop.n}` }));
  state.map.marks.off = answer.customers.map((one) => [one.x, one.y]);
  state.map.marks.hit = answer.hits.map((one) => [one.x, one.y, answer.keep_away_m]);
  state.map.draw();
}

async function find(text) {
  const list = byId("found"), rows = await (await fetch(`/search?text=${encodeURIComponent(text)}`)).json();
  list.replaceChildren();
  for (const row of rows) {
    const item = document.createElement("li"), go = document.createElement("button");
    go.type = "button";
    go.textContent = `${row.kind} ${row.id}, ${row.where}`;
    go.addEventListener("click", () => {
      state.map.show(row.x, row.y, 0.4);
      if (row.kind === "main") point(row.x, row.y, 5);
    });
    item.append(go);
    list.append(item);
  }
  if (!rows.length) list.textContent = "nothing of that name";
}

async function begin() {
  state.csrf = await letIn();
  const facts = await (await fetch("/network")).json();
  state.map = new NetworkMap(byId("map"), facts);
  state.map.onPoint = point;
  state.map.onDrag = drag;
  state.map.draw();
  const kept = await (await fetch("/orders")).json();
  state.orders = kept.orders;
  state.revision = kept.revision;
  drawOrders();
  const stream = new EventSource("/answers");
  stream.addEventListener("answer", (event) => hear(JSON.parse(event.data)));
  byId("undo").addEventListener("click", () => { if (state.before.length) order(JSON.parse(state.before.pop()), false); });
  byId("add-work").addEventListener("click", () => { state.orders.work.push({ main_id: "", from_m: 0, to_m: 1 }); drawOrders(); });
  byId("orders").addEventListener("submit", (event) => {
    event.preventDefault();
    const name = byId("order-name").value.trim(), kind = byId("order-kind").value;
    if (name) changed((next) => { next[kind].push(name); });
    byId("order-name").value = "";
  });
  document.addEventListener("keydown", (event) => {
    // One key: the first valve still open of the first ring failed to shut.
    if (event.key === "F" && !byId("emergency").hidden && event.target.tagName !== "INPUT") byId("rings").querySelector("button")?.click();
  });
  byId("search").addEventListener("submit", (event) => { event.preventDefault(); find(byId("search-text").value); });
  byId("work").addEventListener("submit", (event) => event.preventDefault());
  byId("pin").addEventListener("click", () => { state.pinned = state.shown[state.chosen]; drawFigures(); });
  byId("save").addEventListener("submit", async (event) => {
    event.preventDefault();
    byId("saved").textContent = "saving";
    try {
      const saved = await write("/plans", { name: byId("save-name").value.trim() });
      byId("saved").textContent = `${saved.folder}; the same by: ${saved.command}`;
    } catch (error) { byId("saved").textContent = String(error.message); }
  });
  document.body.dataset.ready = "yes";
}

begin().catch((error) => { byId("state").textContent = String(error.message); });
