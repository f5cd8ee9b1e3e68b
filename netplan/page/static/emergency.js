// Emergency: a main was hit; what to shut, in which order, who loses gas, and again when a valve fails.
import { say } from "/static/announcing.js";
import { drawFigures } from "/static/figures.js";
import { showEmergency } from "/static/emergency_answer.js";
import { byId, state, write } from "/static/state.js";
import { showAnswer } from "/static/view_buttons.js";

// The place and the valves that failed; what is shown; which ring the map shows; what was marked as shut, and when.
export const hit = { place: null, failed: [], shown: null, ring: "A", shut: new Map(), asked: 0, isNew: false, crewsTyped: false };
let stream = null;

export async function emergency(x, y) { await ask({ x, y }); }

function samePlace(one, other) { return JSON.stringify(one) === JSON.stringify(other); }

export async function ask(place, keep = false) {
  if (!keep && !samePlace(place, hit.place)) { hit.failed = []; hit.shut.clear(); hit.ring = "A"; }
  hit.place = place;
  hit.asked += 1;
  hit.crewsTyped = false;
  const mine = hit.asked, crews = byId("hit-crews").valueAsNumber;
  try {
    const answer = await write("/emergency", { ...place, failed: hit.failed, is_new: hit.isNew, ...(crews >= 1 ? { crews } : {}) });
    hit.isNew = false;
    if (mine === hit.asked) show(answer, true);
  } catch (error) { byId("emergency-answer").hidden = false; byId("hit").textContent = String(error.message); }
}

function show(answer, fit = false) {
  // What follows of an older answer comes too late.
  if (hit.isNew || (hit.shown && answer.asked_at < hit.shown.asked_at)) return;
  hit.shown = answer;
  hit.failed = [...answer.failed_valves];
  if (!answer.rings.rows.some((ring) => ring.letter === hit.ring)) hit.ring = "A";
  byId("ready").replaceChildren();
  byId("emergency-answer").hidden = false;
  showEmergency(answer);
  drawRing();
  if (!fit) return;
  byId("hit-typed").open = false;
  showAnswer();
}

export function drawRing() {
  const { map } = state, answer = hit.shown, ring = answer && answer.rings.rows.find((one) => one.letter === hit.ring);
  map.marks = { work: [], zone: [], stops: [], off: [], kept: [], ghost: null, hit: [], feeds: [], pinned: [] };
  if (answer) {
    map.marks.hit = answer.hit_places;
    map.marks.zone = answer.inside[hit.ring] || [];
    map.marks.off = answer.off[hit.ring] || [];
    map.marks.stops = ring ? ring.stops.map((stop) => ({ ...stop, id: String(stop.n) })) : [];
  }
  map.draw();
}

export function valveFailed(valve) {
  if (!hit.shown || hit.failed.includes(valve)) return;
  hit.failed.push(valve);
  hit.shut.delete(valve);
  // The ring made ready for it stands there at once; the whole answer without the valve replaces it.
  const rows = hit.shown.next_rings.rows.filter((row) => row.if_failed.length === 1 && row.if_failed[0] === valve);
  byId("ready").replaceChildren(...rows.flatMap((row) => {
    const head = document.createElement("h3"), line = document.createElement("p"), list = document.createElement("ol");
    head.textContent = row.heading;
    line.textContent = row.line;
    list.replaceChildren(...[...row.do_first.map((words) => `${hit.shown.rings.first} ${words}`), ...row.stops].map((words) => {
      const item = document.createElement("li");
      item.textContent = words;
      return item;
    }));
    return [head, line, list];
  }));
  say([`Valve ${valve} failed to shut.`, ...rows.slice(0, 1).map((row) => row.line)].join(" "));
  ask(hit.place, true);
}

export function notFailed(valve) {
  hit.failed = hit.failed.filter((name) => name !== valve);
  ask(hit.place, true);
}

function keyedValve() {
  // The valve whose row has the focus, else the first of the ring shown that is not marked as shut.
  const own = document.activeElement.closest("tr[data-valve]");
  const row = own || [...byId("rings").querySelectorAll(`[data-ring="${hit.ring}"] tr[data-valve]`)].find((one) => !hit.shut.has(one.dataset.valve));
  if (row) valveFailed(row.dataset.valve);
  else say("No valve of the ring shown is open.");
}

async function open() {
  stream = new EventSource("/emergency/answers");
  stream.addEventListener("emergency", (event) => show(JSON.parse(event.data)));
  const begins = await (await fetch("/emergency")).json();
  byId("governs").textContent = begins.governs;
  byId("make-safe").replaceChildren(...begins.make_safe.map((words) => {
    const item = document.createElement("li");
    item.textContent = words;
    return item;
  }));
  if (!byId("hit-crews").value) byId("hit-crews").value = begins.crews;
}

async function turn(mode) {
  const is = mode === "emergency";
  state.mode = mode;
  document.body.dataset.mode = mode;
  sessionStorage.setItem("mode", mode);
  for (const part of document.querySelectorAll(".planning")) part.hidden = is;
  for (const part of document.querySelectorAll(".in-emergency")) part.hidden = !is;
  byId("emergency-open").hidden = is;
  if (stream) stream.close();
  document.dispatchEvent(new Event("mode"));
  drawRing();
  if (is) {
    byId("emergency").focus();
    await open();
  } else {
    state.map.marks.hit = [];
    drawFigures();
    byId("emergency-open").focus();
  }
}

function placeTyped() {
  const address = byId("hit-address").value.trim(), main = byId("hit-main").value.trim();
  if (address) return { address };
  return main ? { main, at_m: Number(byId("hit-at").value.replace(",", ".")) || 0 } : hit.place;
}

function begin() {
  Object.assign(hit, { place: null, failed: [], shown: null, ring: "A", isNew: true });
  hit.shut.clear();
  byId("emergency-answer").hidden = true;
  byId("hit-typed").open = true;
  drawRing();
  byId("hit-address").focus();
}

async function save(event) {
  event.preventDefault();
  byId("emergency-saved").textContent = "saving";
  try {
    const saved = await write("/emergency/saved", { name: byId("emergency-name").value.trim() });
    byId("emergency-saved").textContent = `answer ${hit.shown.revision} saved: ${saved.page}; the same from a terminal: ${saved.command}`;
  } catch (error) { byId("emergency-saved").textContent = String(error.message); }
}

export function beginEmergency() {
  byId("emergency-open").addEventListener("click", () => turn("emergency"));
  byId("emergency-close").addEventListener("click", () => turn("plan"));
  byId("hit-place").addEventListener("submit", (event) => {
    event.preventDefault();
    const place = placeTyped();
    if (!place) byId("hit").textContent = "Point on the map, or type where it was hit.";
    if (place) ask(place, samePlace(place, hit.place));
    for (const id of ["hit-address", "hit-main", "hit-at"]) byId(id).value = "";
  });
  byId("hit-crews").addEventListener("input", () => { hit.crewsTyped = true; });
  byId("hit-new").addEventListener("click", begin);
  byId("emergency-save").addEventListener("submit", save);
  byId("emergency-name").value = `emergency ${new Date().toISOString().slice(0, 16).replace("T", " ").replace(":", "")}`;
  document.addEventListener("valve-failed", keyedValve);
  if (sessionStorage.getItem("mode") === "emergency") turn("emergency");
}
