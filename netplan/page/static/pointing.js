// Pointing at the map: a main becomes the work section, a stop is dragged, a hit is answered.
import { byId, state } from "/static/state.js";
import { changed } from "/static/orders.js";
import { emergency } from "/static/emergency.js";

export async function point(x, y, reach) {
  if (state.mode === "emergency") { await emergency(x, y); return; }
  const found = await (await fetch(`/main?x=${x}&y=${y}&reach=${reach}`)).json();
  if (!found) { byId("map-say").textContent = "no main there"; return; }
  byId("map-say").textContent = `${found.main_id} ${found.street}, ${found.material} ${found.od_mm} mm, at ${found.chainage_m} m`;
  const half = Math.min(2, found.length_m / 2), middle = Math.min(Math.max(found.chainage_m, half), found.length_m - half);
  const round = (value) => Math.round(value * 1000) / 1000;
  await changed((next) => { next.work = [{ main_id: found.main_id, from_m: round(middle - half), to_m: round(middle + half) }]; });
}

export function drag(phase, px, py) {
  // A stop is taken hold of, a ghost of it runs along the mains, and letting go is an order.
  if (state.mode === "emergency") return false;
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
