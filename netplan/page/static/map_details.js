// What is shown close in: meter points, valves, names of mains; fetched by tiles of one zoom.
import { COLOUR, INK, paintDiamond, paintText } from "/static/stop_symbols.js";

const POINTS_BELOW = 0.7, NAMES_BELOW = 0.55, NUMBERS_BELOW = 0.12, MOST_KEPT = 200;

export class CloseIn {
  constructor(map) {
    this.map = map;
    this.tiles = new Map();
  }

  inView() {
    const { map } = this, { facts } = map, many = 2 ** facts.marks_zoom, side = facts.extent_m / many;
    if (map.metres > POINTS_BELOW) return [];
    const [west, north] = map.toPlane(0, 0), [east, south] = map.toPlane(map.width, map.height), found = [];
    const within = (v) => Math.min(many - 1, Math.max(0, Math.floor(v / side)));
    for (let row = within(facts.north_m - north); row <= within(facts.north_m - south); row += 1)
      for (let column = within(west - facts.west_m); column <= within(east - facts.west_m); column += 1) {
        const key = `${column}/${row}`, tile = this.tiles.get(key);
        if (tile) found.push(tile);
        else if (tile === undefined) this.fetchTile(key);
      }
    return found;
  }

  async fetchTile(key) {
    for (const old of this.tiles.keys()) { if (this.tiles.size < MOST_KEPT) break; this.tiles.delete(old); }
    this.tiles.set(key, null);
    const answer = await fetch(`/marks/${key}`);
    if (!answer.ok) return;
    this.tiles.set(key, await answer.json());
    this.map.draw();
  }

  // The meter point within some points of a place on the screen; null where none is shown.
  customerAt(px, py, reach = 9) {
    let best = null, least = reach;
    for (const tile of this.inView())
      for (const one of tile.customers) {
        const [x, y] = this.map.toScreen(one.x, one.y), away = Math.hypot(x - px, y - py);
        if (away <= least) { best = one; least = away; }
      }
    return best;
  }

  paint(pen) {
    const { map } = this, taken = [];
    const shown = (one) => { const [px, py] = map.toScreen(one.x, one.y); return px > -40 && py > -40 && px < map.width + 40 && py < map.height + 40 ? [px, py] : null; };
    for (const tile of this.inView()) {
      for (const one of tile.customers) {
        const at = shown(one);
        if (!at) continue;
        if (one.priority) paintDiamond(pen, ...at, 9, "#fff", INK);
        pen.beginPath();
        pen.arc(...at, 3.2, 0, 7);
        pen.fillStyle = "#fff";
        pen.fill();
        pen.strokeStyle = INK;
        pen.lineWidth = 1.3;
        pen.stroke();
        if (map.metres < NUMBERS_BELOW) paintText(pen, at[0] + 7, at[1] - 6, one.address || one.id, INK, "600 11px");
      }
      for (const one of tile.valves) {
        const at = shown(one);
        if (!at) continue;
        paintDiamond(pen, ...at, 7, one.state === "open" ? "#fff" : one.state === "closed" ? INK : COLOUR.doubt, INK, 1.6);
        if (map.metres < 0.3) paintText(pen, at[0] + 9, at[1] + 4, one.state === "open" ? one.id : `${one.id} ${one.state}`, INK, "600 11px");
      }
      if (map.metres < NAMES_BELOW) for (const one of tile.mains) { const at = shown(one); if (at) this.paintName(pen, one, at, taken); }
    }
  }

  // A name along its main, right way up, where the main is long enough for it and no other name stands.
  paintName(pen, one, [px, py], taken) {
    const words = nameOf(one, this.map.metres), wide = 6.6 * words.length;
    if (one.length_m / this.map.metres < wide + 10) return;
    if (taken.some(([x, y, half]) => Math.abs(x - px) < half + wide / 2 && Math.abs(y - py) < 16)) return;
    taken.push([px, py, wide / 2]);
    let turn = -one.turn;
    if (turn > Math.PI / 2) turn -= Math.PI;
    if (turn < -Math.PI / 2) turn += Math.PI;
    pen.save();
    pen.translate(px, py);
    pen.rotate(turn);
    pen.textAlign = "center";
    paintText(pen, 0, -7, words, "#57534a", "500 12px");
    pen.restore();
  }
}

function nameOf(one, metres) { return metres < 0.25 ? `${one.name}, ${one.make}` : one.name; }
