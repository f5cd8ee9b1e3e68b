// Drawing on the map: an area whose mains become the work, an area to keep out of, a length without stops.
import { byId, state, write } from "/static/state.js";
import { changed } from "/static/orders.js";
import { between, course, millimetres, nearestOn } from "/static/main_lines.js";
import { COLOUR, INK, LINE, paintLines } from "/static/stop_symbols.js";

const CLOSE_PX = 10, LEAST_M = 0.05;

const say = (words) => { byId("map-say").textContent = words; };

// An area: clicks set corners, Enter closes it, Backspace takes a corner back, Escape gives up.
export class AreaDrawing {
  constructor(map, what, done) {
    this.map = map;
    this.what = what;
    this.done = done;
    this.ring = [];
    this.hover = null;
  }

  click(x, y) {
    if (this.ring.length >= 3) {
      const [px, py] = this.map.toScreen(...this.ring[0]), [qx, qy] = this.map.toScreen(x, y);
      if (Math.hypot(px - qx, py - qy) < CLOSE_PX) { this.close(); return; }
    }
    this.ring.push([millimetres(x), millimetres(y)]);
    say(`${this.what}: ${this.ring.length} corner${this.ring.length > 1 ? "s" : ""}; Enter closes it, Backspace takes one back, Escape gives up`);
    this.map.draw();
  }

  move(px, py) { this.hover = this.map.toPlane(px, py); if (this.ring.length) this.map.draw(); }

  key(event) {
    if (event.key === "Enter") this.close();
    else if (event.key === "Backspace") { this.ring.pop(); say(`${this.what}: ${this.ring.length} corners`); this.map.draw(); }
    else if (event.key === "Escape") this.done(`${this.what}: given up`);
    else if (event.key === " ") this.click(...this.map.middle);
    else return false;
    return true;
  }

  async close() {
    if (this.ring.length < 3) { say(`${this.what}: it needs three corners or more`); return; }
    const { ring } = this;
    try {
      if (this.what === "area") {
        const work = await write("/area-work", { ring });
        changed((next) => { next.work = work; });
        this.done(`work: ${work.length} length${work.length > 1 ? "s" : ""} of main in the area`);
      } else {
        const drawn = await write("/area-ring", { ring });
        changed((next) => { next.keep_out.push(drawn); });
        this.done("keep-out area ordered: no stop in it");
      }
    } catch (error) { say(String(error.message)); }
  }

  paint(pen) {
    const places = this.hover ? [...this.ring, this.hover] : this.ring;
    if (!this.ring.length) return;
    pen.beginPath();
    places.forEach((corner, at) => { const [px, py] = this.map.toScreen(...corner); if (at) pen.lineTo(px, py); else pen.moveTo(px, py); });
    pen.closePath();
    pen.fillStyle = this.what === "area" ? "#f0e44233" : "#d55e0022";
    pen.fill();
    pen.strokeStyle = this.what === "area" ? INK : COLOUR.off;
    pen.lineWidth = 2;
    pen.setLineDash([6, 4]);
    pen.stroke();
    pen.setLineDash([]);
    for (const corner of this.ring) { const [px, py] = this.map.toScreen(...corner); pen.fillStyle = INK; pen.fillRect(px - 3.5, py - 3.5, 7, 7); }
  }
}

// A length without stops: pressed on a main and dragged along it; by keys a blank at either end, then Enter.
export class LengthDrawing {
  constructor(map, done) {
    this.map = map;
    this.done = done;
    this.main = null;
    this.from_m = this.to_m = 0;
    this.coming = null;
  }

  press(px, py) {
    this.coming = this.begin(...this.map.toPlane(px, py), 14 * this.map.metres);
    return { move: (qx, qy) => this.move(qx, qy), end: async (qx, qy) => { await this.coming; this.move(qx, qy); this.close(); }, cancel: () => { this.main = null; } };
  }

  async begin(x, y, reach) {
    const found = await (await fetch(`/main?x=${x}&y=${y}&reach=${reach}`)).json();
    if (!found) { say("no main there: begin on a main"); return; }
    this.main = course(found);
    this.from_m = this.to_m = found.chainage_m;
    this.map.draw();
  }

  move(px, py) {
    if (!this.main) return;
    this.to_m = nearestOn(this.main, ...this.map.toPlane(px, py)).at_m;
    say(`no stop on ${this.main.main_id} from ${this.low} to ${this.high} m`);
    this.map.draw();
  }

  get low() { return millimetres(Math.min(this.from_m, this.to_m)); }

  get high() { return Math.min(millimetres(Math.max(this.from_m, this.to_m)), Math.floor(this.main.length_m * 1000) / 1000); }

  key(event) {
    if (event.key === "Escape") this.done("no length forbidden");
    else if (event.key === "Enter" && this.main) this.close();
    else if (event.key === " ") {
      if (this.main) this.move(this.map.width / 2, this.map.height / 2);
      else this.begin(...this.map.middle, 30 * this.map.metres).then(() => this.main && say(`from ${this.low} m on ${this.main.main_id}: press Space at its other end, then Enter`));
    } else return false;
    return true;
  }

  close() {
    if (!this.main) return;
    const { main, low, high } = this;
    this.main = null;
    if (high - low < LEAST_M) { say(`no stop here: drag along the main, ${main.main_id} from ${low} m is no length`); this.map.draw(); return; }
    changed((next) => { next.forbid.push(`${main.main_id}:${low}:${high}`); });
    this.done(`no stop on ${main.main_id} from ${low} to ${high} m: ordered`);
  }

  paint(pen) { if (this.main && this.high > this.low) paintLines(pen, this.map, [between(this.main, this.low, this.high)], LINE.refused); }
}
