// Pointing at the map: a main becomes the work, a meter point gets its menu, a hit is answered.
import { byId, state } from "/static/state.js";
import { changed } from "/static/orders.js";
import { emergency } from "/static/emergency.js";
import { course, millimetres } from "/static/main_lines.js";

const HALF_M = 2;

export async function point(x, y, reach, also = false) {
  if (state.mode === "emergency") { await emergency(x, y); return; }
  const found = await (await fetch(`/main?x=${x}&y=${y}&reach=${reach}`)).json();
  if (!found) { byId("map-say").textContent = "no main there"; return; }
  course(found);
  byId("map-say").textContent = `${also ? "added: " : ""}${found.main_id} ${found.street}, ${found.material} ${found.od_mm} mm, at ${found.chainage_m} m`;
  const half = Math.min(HALF_M, found.length_m / 2), middle = Math.min(Math.max(found.chainage_m, half), found.length_m - half);
  const length = { main_id: found.main_id, from_m: millimetres(middle - half), to_m: millimetres(middle + half) };
  await changed((next) => { next.work = also ? [...next.work.filter((one) => one.main_id), length] : [length]; });
}

export async function streetAsWork(street) {
  const answer = await fetch(`/street-work?street=${encodeURIComponent(street)}`);
  if (!answer.ok) { byId("map-say").textContent = await answer.text(); return; }
  const work = await answer.json();
  byId("map-say").textContent = `work: ${work.length} main${work.length > 1 ? "s" : ""} of ${street}, whole`;
  await changed((next) => { next.work = work; });
}
