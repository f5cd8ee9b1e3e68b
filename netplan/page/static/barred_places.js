// Where nobody digs: keep-out areas on record and drawn, lengths that are forbidden; shown on the map.
import { state } from "/static/state.js";
import { between, courseOf, knownCourse } from "/static/main_lines.js";
import { COLOUR, LINE, paintHatched, paintLines, paintText } from "/static/stop_symbols.js";

const WAIT_MS = 200;
const seen = { recorded: [], ordered: [], asked: "", timer: 0 };

function ask(map) {
  const [west, north] = map.toPlane(0, 0), [east, south] = map.toPlane(map.width, map.height);
  const key = [west, south, east, north].map(Math.round).join("/") + `#${state.revision}#${state.sending}`;
  if (key === seen.asked) return;
  seen.asked = key;
  clearTimeout(seen.timer);
  seen.timer = setTimeout(async () => {
    const answer = await fetch(`/areas?west=${west}&south=${south}&east=${east}&north=${north}`);
    if (!answer.ok) return;
    const found = await answer.json();
    seen.recorded = found.recorded;
    seen.ordered = found.ordered;
    map.draw();
  }, WAIT_MS);
}

// MAIN:FROM:TO, or MAIN:AT with what is round it; ids have no colon.
function forbidden() {
  const lines = [];
  for (const name of state.orders.forbid) {
    const [id, from, to] = name.split(":");
    if (from === undefined) continue;
    const main = knownCourse(id);
    if (!main) { courseOf(id).then(() => state.map.draw()); continue; }
    lines.push(to === undefined ? between(main, Math.max(0, Number(from) - 0.5), Math.min(main.length_m, Number(from) + 0.5)) : between(main, Number(from), Number(to)));
  }
  return lines;
}

export function paintBarred(pen, map) {
  ask(map);
  for (const area of seen.recorded) {
    paintHatched(pen, map, area.ring, "#6d6a64");
    if (map.metres < 0.5) paintText(pen, ...map.toScreen(...middle(area.ring)), area.reason, "#57534a", "500 12px");
  }
  seen.ordered.forEach((ring, at) => {
    paintHatched(pen, map, ring, COLOUR.off);
    paintText(pen, ...map.toScreen(...middle(ring)), `keep-out area ${at + 1}`, COLOUR.off);
  });
  paintLines(pen, map, forbidden(), LINE.refused);
}

function middle(ring) {
  return [0, 1].map((axis) => ring.reduce((sum, corner) => sum + corner[axis], 0) / ring.length);
}
