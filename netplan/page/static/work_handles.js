// The work on the map: two handles at the ends of each length, dragged along its main or moved by keys.
import { byId, state } from "/static/state.js";
import { changed } from "/static/orders.js";
import { between, courseOf, knownCourse, millimetres, nearestOn, placeAt } from "/static/main_lines.js";
import { INK, LINE, paintLines } from "/static/stop_symbols.js";

const LEAST_M = 0.1, STEP_M = 0.5, LONG_STEP_M = 5, WAIT_MS = 500, MOST_HANDLES = 24, BESIDE_PX = 30;
const shown = { orders: null, work: [], buttons: [], over: null };

export function paintWork(pen, map) {
  if (shown.orders !== state.orders) follow();
  const lines = [];
  for (const one of shown.work) { const main = knownCourse(one.main_id); if (main && one.to_m > one.from_m) lines.push(between(main, one.from_m, one.to_m)); }
  // Where the course of a main is not here yet, the line that came with the answer stands.
  if (lines.length) { map.marks.work = []; paintLines(pen, map, lines, LINE.work); }
}

// Take over the work from the orders; the courses of its mains come with the next frames.
function follow() {
  shown.orders = state.orders;
  shown.work = state.orders.work.filter((one) => one.main_id).map((one) => ({ ...one }));
  for (const one of shown.work)
    if (!knownCourse(one.main_id)) courseOf(one.main_id).then(() => { shown.over.forget(); state.map.draw(); });
  if (shown.over) shown.over.forget();
}

function say(one, end) {
  byId("map-say").textContent = `${one.main_id}: ${end === "from_m" ? "from" : "to"} ${one[end]} m, ${millimetres(one.to_m - one.from_m)} m of main`;
}

// Geometry alone: no server is asked until the handle is let go.
function move(at, end, value) {
  const one = shown.work[at], main = knownCourse(one.main_id);
  if (!main) return;
  one[end] = millimetres(end === "from_m" ? Math.min(Math.max(value, 0), one.to_m - LEAST_M) : Math.max(Math.min(value, Math.floor(main.length_m * 1000) / 1000), one.from_m + LEAST_M));
  const field = byId("work-rows").rows[at]?.querySelectorAll("input")[end === "from_m" ? 1 : 2];
  if (field) field.value = one[end];
  say(one, end);
  state.map.draw();
}

function letGo(at) {
  const one = shown.work[at], was = state.orders.work[at];
  if (!was || (was.from_m === one.from_m && was.to_m === one.to_m)) return;
  changed((next) => { next.work[at] = { ...one }; });
}

// A handle stands beside its end, the two on either side of the main, so that neither hides a stop.
function besideMain(map, main, one, end) {
  const at = map.toScreen(...placeAt(main, one[end])), side = end === "from_m" ? 1 : -1;
  const a = map.toScreen(...placeAt(main, one[end] - 0.5)), b = map.toScreen(...placeAt(main, one[end] + 0.5));
  const long = Math.hypot(b[0] - a[0], b[1] - a[1]) || 1;
  return [at[0] - (side * BESIDE_PX * (b[1] - a[1])) / long, at[1] + (side * BESIDE_PX * (b[0] - a[0])) / long];
}

// The line from an end of the work to its handle.
export function paintLeaders(pen, map) {
  if (!shown.buttons.length) return;
  pen.beginPath();
  for (const handle of shown.buttons) {
    const one = shown.work[handle.at], main = one && knownCourse(one.main_id);
    if (!main) continue;
    pen.moveTo(...map.toScreen(...placeAt(main, one[handle.end])));
    pen.lineTo(...besideMain(map, main, one, handle.end));
  }
  pen.strokeStyle = INK;
  pen.lineWidth = 1.6;
  pen.stroke();
}

class Handle {
  constructor(at, end, over) {
    this.at = at;
    this.end = end;
    this.timer = 0;
    this.button = over.button("map-handle", (px, py) => this.drag(px, py), () => letGo(this.at), () => follow());
    this.button.textContent = end === "from_m" ? "from" : "to";
    this.button.setAttribute("role", "slider");
    this.button.addEventListener("keydown", (event) => this.key(event));
    this.button.addEventListener("blur", () => this.send());
  }

  drag(px, py) {
    const main = knownCourse(shown.work[this.at].main_id);
    if (main) move(this.at, this.end, nearestOn(main, ...state.map.toPlane(px, py)).at_m);
  }

  key(event) {
    const one = shown.work[this.at], step = event.shiftKey ? LONG_STEP_M : STEP_M;
    const by = { ArrowRight: step, ArrowUp: step, ArrowLeft: -step, ArrowDown: -step, Home: -1e9, End: 1e9 }[event.key];
    if (by !== undefined) {
      event.preventDefault();
      move(this.at, this.end, one[this.end] + by);
      this.place(state.map);
      clearTimeout(this.timer);
      this.timer = setTimeout(() => this.send(), WAIT_MS);
    } else if (event.key === "Enter") this.send();
    else if (event.key === "Escape") { clearTimeout(this.timer); this.timer = 0; follow(); state.map.draw(); }
  }

  send() {
    if (!this.timer) return;
    clearTimeout(this.timer);
    this.timer = 0;
    letGo(this.at);
  }

  place(map) {
    const one = shown.work[this.at], main = one && knownCourse(one.main_id);
    this.button.hidden = !main;
    if (!main) return;
    const word = this.end === "from_m" ? "from" : "to", [px, py] = besideMain(map, main, one, this.end);
    this.button.style.left = `${px}px`;
    this.button.style.top = `${py}px`;
    this.button.setAttribute("aria-label", `${word} of length ${this.at + 1}, main ${one.main_id}`);
    this.button.setAttribute("aria-valuemin", word === "from" ? 0 : one.from_m);
    this.button.setAttribute("aria-valuemax", word === "from" ? one.to_m : main.length_m);
    this.button.setAttribute("aria-valuenow", one[this.end]);
    this.button.setAttribute("aria-valuetext", `${one[this.end]} metres`);
  }
}

export function placeHandles(map, over) {
  shown.over = over;
  if (shown.orders !== state.orders) follow();
  const many = 2 * shown.work.length <= MOST_HANDLES && state.mode !== "emergency" ? shown.work.length : 0;
  while (shown.buttons.length > 2 * many) shown.buttons.pop().button.remove();
  for (let at = shown.buttons.length / 2; at < many; at += 1) shown.buttons.push(new Handle(at, "from_m", over), new Handle(at, "to_m", over));
  for (const handle of shown.buttons) handle.place(map);
}
