// A stop that is moved: its ghost runs along the mains, snaps to where a stop can be, and says why not elsewhere.
import { byId, state } from "/static/state.js";
import { between, course, millimetres, nearestOn, placeAt } from "/static/main_lines.js";
import { COLOUR, INK, LINE, paintLines, paintStop } from "/static/stop_symbols.js";

const REACH_PX = 60, SNAP_PX = 12, VALVE_PX = 14, FARTHEST_M = 2000;

export const nameOfStop = (stop) => stop.valve_id || `${stop.main_id}:${stop.chainage_m}`;

// The order that holds a stop where it is, if one does.
export function orderOf(stop) {
  if (stop.valve_id) return state.orders.force.find((name) => name === stop.valve_id) || "";
  return state.orders.force.find((name) => {
    const at = name.lastIndexOf(":");
    return at > 0 && name.slice(0, at) === stop.main_id && Math.abs(Number(name.slice(at + 1)) - stop.chainage_m) < 0.01;
  }) || "";
}

export class StopGhost {
  constructor(map, stop) {
    this.map = map;
    this.stop = stop;
    this.was = orderOf(stop);
    this.mains = [];
    this.asking = false;
    this.centre = null;
    this.at = null;   // where the ghost is: { name, x, y, words, methods, length }
    this.pointer = null;
    this.ask(stop.x, stop.y);
  }

  async ask(x, y) {
    if (this.asking) return;
    this.asking = true;
    const reach = Math.min(FARTHEST_M, 0.6 * Math.hypot(this.map.width, this.map.height) * this.map.metres);
    try {
      const answer = await fetch(`/stops-near?x=${x}&y=${y}&reach=${reach}`);
      if (!answer.ok) { byId("map-say").textContent = await answer.text(); return; }
      const found = await answer.json();
      this.mains = found.mains.map((main) => ({ ...main, ...course(main), box: boxOf(main.line) }));
      this.centre = [x, y, found.reach_m];
    } finally { this.asking = false; }
    if (this.pointer) this.follow(...this.pointer);
    this.map.draw();
  }

  // The pointer is here: the nearest main, and the nearest place on it where a stop can be.
  follow(px, py) {
    this.pointer = [px, py];
    const [x, y] = this.map.toPlane(px, py), { metres } = this.map;
    this.at = this.valveAt(x, y, VALVE_PX * metres) || this.onMain(x, y, REACH_PX * metres);
    const far = this.centre && Math.hypot(x - this.centre[0], y - this.centre[1]);
    if (this.centre && (far > 0.5 * this.centre[2] || (!this.at && far > 0.1 * this.centre[2]))) this.ask(x, y);
    this.said();
    this.check();
    this.map.draw();
  }

  valveAt(x, y, reach) {
    let best = null, least = reach;
    for (const main of this.mains)
      for (const valve of main.valves) {
        const away = Math.hypot(valve.x - x, valve.y - y);
        if (away <= least) { least = away; best = { name: valve.id, label: `valve ${valve.id}`, x: valve.x, y: valve.y, length: valve, kind: "valve" }; }
      }
    return best;
  }

  onMain(x, y, reach) {
    let best = null;
    for (const main of this.mains) {
      if (x < main.box[0] - reach || y < main.box[1] - reach || x > main.box[2] + reach || y > main.box[3] + reach) continue;
      const near = nearestOn(main, x, y);
      if (near.away <= reach && (!best || near.away < best.near.away)) best = { main, near };
    }
    if (!best) return null;
    const { main, near } = best;
    return this.place(main, snapped(main, near.at_m, SNAP_PX * this.map.metres));
  }

  place(main, at_m) {
    const length = lengthAt(main, at_m), [x, y] = placeAt(main, at_m), at = millimetres(at_m);
    return { name: `${main.main_id}:${at}`, label: `${main.main_id} at ${at} m`, main, at_m: at, x, y, length, kind: (length && length.kinds[0]) || this.stop.kind };
  }

  // A key moves the ghost along its main to the next place where a stop can be.
  step(by) {
    const main = this.at ? this.at.main : this.mains.find((one) => one.main_id === this.stop.main_id);
    if (!main) return;
    const from = this.at ? this.at.at_m : this.stop.chainage_m, want = Math.min(Math.max(from + by, 0), main.length_m);
    let at_m = want;
    if (!isFeasible(main, want)) {
      const beyond = main.lengths.filter((one) => one.methods.length && (by > 0 ? one.from_m > from : one.to_m < from));
      if (!beyond.length) { byId("map-say").textContent = `no further place on ${main.main_id}: ${reason(lengthAt(main, want))}`; return; }
      at_m = by > 0 ? Math.min(...beyond.map((one) => one.from_m)) : Math.max(...beyond.map((one) => one.to_m));
    }
    this.at = this.place(main, at_m);
    this.said();
    this.check();
    this.map.draw();
  }

  get refusal() { return this.at && this.at.length && !this.at.length.methods.length ? reason(this.at.length) : ""; }

  said() {
    const bubble = byId("map-reason");
    if (!this.at) { bubble.hidden = true; byId("map-say").textContent = this.asking ? "looking where a stop can be" : "no main there"; return; }
    byId("map-say").textContent = this.refusal ? `no stop at ${this.at.label}: ${this.refusal}` : `stop to ${this.at.label}${this.at.length ? `: ${this.at.length.methods.join(" or ")}` : ""}`;
    bubble.hidden = !this.refusal;
    if (!this.refusal || !this.pointer) return;
    bubble.textContent = `No stop here: ${this.refusal}`;
    bubble.style.left = `${Math.min(this.pointer[0] + 18, this.map.width - 250)}px`;
    bubble.style.top = `${this.pointer[1] + 16}px`;
  }

  // Whether any set of stops isolates the work with one here is asked once for a length.
  async check() {
    const { at } = this, length = at && at.length;
    if (!length || !length.methods.length || length.checked) return length ? length.checked : null;
    length.checked = this.isolates(at.name).then((words) => {
      if (words) { length.methods = []; length.kinds = []; length.words = words; if (this.at && this.at.length === length) { if (this.pointer) this.follow(...this.pointer); else this.said(); } this.map.draw(); }
      return words;
    });
    return length.checked;
  }

  async isolates(name) {
    const answer = await fetch(`/stop-at?place=${encodeURIComponent(name)}&was=${encodeURIComponent(this.was)}`);
    return answer.ok ? (await answer.json()).words : await answer.text();
  }

  // Let go: the order to give, or why none is given.
  async end() {
    const { at } = this;
    this.close();
    if (!at) return { why: "no main there: the stop stays where it was" };
    if (!at.length) return { why: `no stop at ${at.label}: it is not known whether one can be there` };
    await this.check();
    const why = at.length.methods.length ? await this.isolates(at.name) : reason(at.length);
    return why ? { why: `nothing ordered; no stop at ${at.label}: ${why}` } : { place: at.name, label: at.label };
  }

  close() {
    byId("map-reason").hidden = true;
    this.map.draw();
  }

  paintPlaces(pen) {
    const free = [], refused = [], { map } = this, [west, north] = map.toPlane(0, 0), [east, south] = map.toPlane(map.width, map.height);
    for (const main of this.mains) {
      if (main.box[0] > east || main.box[2] < west || main.box[1] > north || main.box[3] < south) continue;
      for (const one of main.lengths) (one.methods.length ? free : refused).push(between(main, one.from_m, one.to_m));
    }
    paintLines(pen, map, free, LINE.feasible);
    paintLines(pen, map, refused, LINE.refused);
  }

  paint(pen) {
    if (!this.at) return;
    const { map } = this, [px, py] = map.toScreen(this.at.x, this.at.y);
    pen.globalAlpha = 0.85;
    paintStop(pen, px, py, this.at.kind, this.refusal ? "×" : "", this.refusal ? COLOUR.off : INK);
    pen.globalAlpha = 1;
  }
}

function boxOf(line) {
  const xs = line.map(([x]) => x), ys = line.map(([, y]) => y);
  return [Math.min(...xs), Math.min(...ys), Math.max(...xs), Math.max(...ys)];
}

const reason = (length) => (length ? length.words : "nothing is known of that place");
const isFeasible = (main, at_m) => main.lengths.some((one) => one.methods.length && one.from_m <= at_m && at_m <= one.to_m);

function lengthAt(main, at_m) {
  const here = main.lengths.filter((one) => one.from_m - 0.0015 <= at_m && at_m <= one.to_m + 0.0015);
  return here.find((one) => one.methods.length) || here[0] || null;
}

// The nearest chainage where a stop can be, when one is near enough [m]; else the chainage itself.
function snapped(main, at_m, within) {
  if (isFeasible(main, at_m)) return at_m;
  let best = at_m, least = within;
  for (const one of main.lengths) {
    if (!one.methods.length) continue;
    const near = at_m < one.from_m ? one.from_m : one.to_m;
    if (Math.abs(near - at_m) <= least) { best = near; least = Math.abs(near - at_m); }
  }
  return best;
}
