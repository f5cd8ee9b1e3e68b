// Emergency: a main was hit; what to shut, in which order, who loses gas, and again when a valve fails.
import { drawFigures } from "/static/figures.js";
import { byId, state, write } from "/static/state.js";

const hit = { at: null, failed: [] };

export async function emergency(x, y) {
  if (!hit.at || hit.at[0] !== x || hit.at[1] !== y) { hit.at = [x, y]; hit.failed = []; }
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

function turn(mode) {
  state.mode = mode;
  document.body.dataset.mode = mode;
  for (const part of document.querySelectorAll(".planning")) part.hidden = mode === "emergency";
  byId("emergency").hidden = mode !== "emergency";
  byId("emergency-open").hidden = mode === "emergency";
  byId("emergency-close").hidden = mode !== "emergency";
  byId(mode === "emergency" ? "emergency" : "map").focus();
  state.map.marks = { work: [], zone: [], stops: [], off: [], kept: [], ghost: null, hit: [] };
  state.map.draw();
  if (mode === "plan") drawFigures();
}

export function beginEmergency() {
  byId("emergency-open").addEventListener("click", () => turn("emergency"));
  byId("emergency-close").addEventListener("click", () => turn("plan"));
  // One key: the first valve still open of the first ring failed to shut.
  document.addEventListener("valve-failed", () => byId("rings").querySelector("button")?.click());
}
