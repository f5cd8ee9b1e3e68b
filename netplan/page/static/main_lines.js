// Courses of mains, and places along them by chainage: what is dragged needs no server.
const known = new Map();

export function course(main) {
  const run = [0];
  for (let at = 1; at < main.line.length; at += 1)
    run.push(run[at - 1] + Math.hypot(main.line[at][0] - main.line[at - 1][0], main.line[at][1] - main.line[at - 1][1]));
  const made = { ...main, run, scale: main.length_m > 0 ? run[run.length - 1] / main.length_m : 1 };
  known.set(main.main_id, made);
  return made;
}

export function knownCourse(id) { return known.get(id) || null; }

export async function courseOf(id) {
  if (!known.has(id)) {
    const found = await (await fetch(`/main-line?main=${encodeURIComponent(id)}`)).json();
    if (!found) return null;
    course(found);
  }
  return known.get(id);
}

// The place at a chainage [m]; beyond an end the end.
export function placeAt(main, at_m) {
  const { line, run } = main, want = Math.min(Math.max(at_m * main.scale, 0), run[run.length - 1]);
  let at = 1;
  while (at < line.length - 1 && run[at] < want) at += 1;
  const step = run[at] - run[at - 1], share = step > 0 ? (want - run[at - 1]) / step : 0;
  return [line[at - 1][0] + share * (line[at][0] - line[at - 1][0]), line[at - 1][1] + share * (line[at][1] - line[at - 1][1])];
}

// The nearest place on a main: chainage, where it is, how far away [m].
export function nearestOn(main, x, y) {
  let best = { at_m: 0, x: main.line[0][0], y: main.line[0][1], away: Infinity };
  for (let at = 1; at < main.line.length; at += 1) {
    const [ax, ay] = main.line[at - 1], [bx, by] = main.line[at], dx = bx - ax, dy = by - ay, square = dx * dx + dy * dy;
    const share = square > 0 ? Math.min(1, Math.max(0, ((x - ax) * dx + (y - ay) * dy) / square)) : 0;
    const px = ax + share * dx, py = ay + share * dy, away = Math.hypot(x - px, y - py);
    if (away < best.away) best = { at_m: (main.run[at - 1] + share * Math.sqrt(square)) / main.scale, x: px, y: py, away };
  }
  best.at_m = Math.min(best.at_m, main.length_m);
  return best;
}

// The course between two chainages [m].
export function between(main, from_m, to_m) {
  const low = from_m * main.scale, high = to_m * main.scale;
  const inner = main.line.filter((_, at) => main.run[at] > low + 1e-6 && main.run[at] < high - 1e-6);
  return [placeAt(main, from_m), ...inner, placeAt(main, to_m)];
}

export const millimetres = (value) => Math.round(value * 1000) / 1000;
