// Buttons of the map: nearer, farther, the answer, the whole network.
import { byId, state } from "/static/state.js";

// Room for the tools above and for what the map says below [px].
const TOP = 64, BOTTOM = 44;

function fit(places) {
  if (!places.length) return;
  const { map } = state, x = places.map((place) => place[0]), y = places.map((place) => place[1]);
  const [west, east, south, north] = [Math.min(...x), Math.max(...x), Math.min(...y), Math.max(...y)];
  const box = map.canvas, high = Math.max(box.clientHeight - TOP - BOTTOM, 60);
  const metres = Math.max(Math.max(east - west, 30) / (0.8 * box.clientWidth), Math.max(north - south, 30) / (0.9 * high));
  map.show((west + east) / 2, (south + north) / 2 + ((TOP - BOTTOM) / 2) * metres, metres);
}

export function showAnswer() {
  const { marks } = state.map;
  fit([...marks.stops.map((stop) => [stop.x, stop.y]), ...marks.work.flat(), ...marks.zone.flat(), ...marks.off, ...marks.hit]);
}

export function showAll() {
  const { facts, canvas } = state.map, half = facts.extent_m / 2;
  state.map.show(facts.west_m + half, facts.north_m - half, facts.extent_m / Math.max(1, Math.min(canvas.clientWidth, canvas.clientHeight)));
}

export function beginViewButtons() {
  const zoom = (factor) => state.map.zoomBy(factor, state.map.canvas.clientWidth / 2, state.map.canvas.clientHeight / 2);
  byId("zoom-in").addEventListener("click", () => zoom(0.8));
  byId("zoom-out").addEventListener("click", () => zoom(1.25));
  byId("show-answer").addEventListener("click", showAnswer);
  byId("show-all").addEventListener("click", showAll);
}
