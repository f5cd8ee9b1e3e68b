// Scale bar and north: metres of the working plane are metres on the ground to within its scale.
import { INK, paintText } from "/static/stop_symbols.js";

const STEPS = [1, 2, 5];

function niceLength(most) {
  let best = 0.1;
  for (let power = -1; power <= 6; power += 1) for (const step of STEPS) { const one = step * 10 ** power; if (one <= most) best = one; }
  return best;
}

export function paintFurniture(pen, map) {
  const length = niceLength(140 * map.metres), wide = length / map.metres, left = map.width - wide - 16, base = map.height - 14;
  pen.fillStyle = "#ffffffd0";
  pen.fillRect(left - 8, base - 24, wide + 16, 32);
  pen.strokeStyle = INK;
  pen.lineWidth = 2;
  pen.lineCap = "butt";
  pen.beginPath();
  pen.moveTo(left, base - 6);
  pen.lineTo(left, base);
  pen.lineTo(left + wide, base);
  pen.lineTo(left + wide, base - 6);
  pen.stroke();
  paintText(pen, left + 4, base - 8, length >= 1000 ? `${length / 1000} km` : `${length} m`);
  const x = map.width - 24;
  pen.beginPath();
  pen.moveTo(x, 14);
  pen.lineTo(x + 9, 42);
  pen.lineTo(x, 35);
  pen.lineTo(x - 9, 42);
  pen.closePath();
  pen.fillStyle = INK;
  pen.fill();
  pen.strokeStyle = "#fff";
  pen.lineWidth = 1.5;
  pen.stroke();
  paintText(pen, x - 4.5, 57, "N");
}
