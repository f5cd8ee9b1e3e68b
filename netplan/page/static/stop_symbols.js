// The symbols of our plan map, for a canvas: each differs by shape and letter, not by colour alone.
export const INK = "#1b1b1b";
export const COLOUR = { off: "#d55e00", kept: "#009e73", standby: "#f0e442", dead: "#cc79a7", live: "#0072b2", feed: "#56b4e9", doubt: "#e69f00" };
export const LINE = {
  work: [{ colour: INK, width: 13, cap: "butt" }, { colour: "#f0e442", width: 9, dash: [11, 9], cap: "butt" }],
  isolated: [{ colour: COLOUR.off, width: 8, cap: "butt" }, { colour: "#fff", width: 2.5, dash: [7, 6], cap: "butt" }],
  refused: [{ colour: INK, width: 15, alpha: 0.5, dash: [2, 4], cap: "butt" }],
  feasible: [{ colour: "#fff", width: 8, cap: "butt" }, { colour: COLOUR.kept, width: 5, cap: "butt" }],
};

function path(pen, px, py, places) {
  pen.beginPath();
  places.forEach(([x, y], at) => { if (at) pen.lineTo(px + x, py + y); else pen.moveTo(px + x, py + y); });
  pen.closePath();
}

function letter(pen, px, py, text, colour, size = 13) {
  pen.font = `700 ${size}px system-ui, "Liberation Sans", Arial, sans-serif`;
  pen.textAlign = "center";
  pen.textBaseline = "middle";
  pen.fillStyle = colour;
  pen.fillText(text, px, py + 0.5);
  pen.textAlign = "start";
  pen.textBaseline = "alphabetic";
}

export function paintStop(pen, px, py, kind, text, fill = INK) {
  pen.fillStyle = fill;
  pen.strokeStyle = "#fff";
  pen.lineWidth = 2;
  if (kind === "valve") path(pen, px, py, [[0, -17], [17, 0], [0, 17], [-17, 0]]);
  else if (kind === "squeeze") { pen.beginPath(); pen.rect(px - 10.5, py - 12, 21, 24); }
  else { pen.beginPath(); pen.arc(px, py, 13, 0, 7); }
  pen.fill();
  pen.stroke();
  if (kind === "squeeze") {
    pen.beginPath();
    for (const side of [-15, 15]) { pen.moveTo(px + side, py - 12); pen.lineTo(px + side, py + 12); }
    pen.strokeStyle = fill;
    pen.lineWidth = 3;
    pen.stroke();
  }
  letter(pen, px, py, text, "#fff");
}

export function paintStation(pen, px, py) {
  path(pen, px, py, [[-12, 12], [-12, -3], [0, -13], [12, -3], [12, 12]]);
  pen.fillStyle = COLOUR.live;
  pen.fill();
  pen.strokeStyle = "#fff";
  pen.lineWidth = 2;
  pen.stroke();
  letter(pen, px, py + 3, "R", "#fff");
}

export function paintOff(pen, px, py) {
  pen.fillStyle = COLOUR.off;
  pen.fillRect(px - 6, py - 6, 12, 12);
  pen.strokeStyle = "#fff";
  pen.lineWidth = 1;
  pen.strokeRect(px - 6, py - 6, 12, 12);
  pen.beginPath();
  pen.moveTo(px - 3.4, py - 3.4);
  pen.lineTo(px + 3.4, py + 3.4);
  pen.moveTo(px - 3.4, py + 3.4);
  pen.lineTo(px + 3.4, py - 3.4);
  pen.lineWidth = 2;
  pen.stroke();
}

export function paintKept(pen, px, py) {
  pen.beginPath();
  pen.arc(px, py, 5.2, 0, 7);
  pen.fillStyle = "#fff";
  pen.fill();
  pen.strokeStyle = COLOUR.kept;
  pen.lineWidth = 3.2;
  pen.stroke();
}

export function paintDiamond(pen, px, py, size, fill, stroke, width = 2.5) {
  path(pen, px, py, [[0, -size], [size, 0], [0, size], [-size, 0]]);
  pen.fillStyle = fill;
  pen.fill();
  pen.strokeStyle = stroke;
  pen.lineWidth = width;
  pen.stroke();
}

export function paintText(pen, px, py, text, colour = INK, font = "600 12px") {
  pen.font = `${font} system-ui, "Liberation Sans", Arial, sans-serif`;
  pen.lineWidth = 3;
  pen.lineJoin = "round";
  pen.setLineDash([]);
  pen.strokeStyle = "#fff";
  pen.strokeText(text, px, py);
  pen.fillStyle = colour;
  pen.fillText(text, px, py);
}

// Lines of one kind as one path: stroked as often as the kind has strokes, however many lines there are.
export function paintLines(pen, view, lines, strokes) {
  if (!lines.length) return;
  pen.beginPath();
  for (const line of lines)
    line.forEach(([x, y], at) => { const [px, py] = view.toScreen(x, y); if (at) pen.lineTo(px, py); else pen.moveTo(px, py); });
  for (const stroke of strokes) {
    pen.strokeStyle = stroke.colour;
    pen.lineWidth = stroke.width;
    pen.globalAlpha = stroke.alpha || 1;
    pen.lineCap = stroke.cap || "round";
    pen.setLineDash(stroke.dash || []);
    pen.stroke();
  }
  pen.globalAlpha = 1;
  pen.lineCap = "round";
  pen.setLineDash([]);
}

// An area that bars something: its outline, and hatching across it.
export function paintHatched(pen, view, ring, colour) {
  if (ring.length < 2) return;
  pen.save();
  pen.beginPath();
  const places = ring.map(([x, y]) => view.toScreen(x, y));
  places.forEach(([px, py], at) => { if (at) pen.lineTo(px, py); else pen.moveTo(px, py); });
  pen.closePath();
  pen.strokeStyle = colour;
  pen.lineWidth = 2;
  pen.stroke();
  pen.clip();
  const xs = places.map(([px]) => px), ys = places.map(([, py]) => py);
  const west = Math.max(0, Math.min(...xs)), east = Math.min(view.width, Math.max(...xs));
  const top = Math.max(0, Math.min(...ys)), bottom = Math.min(view.height, Math.max(...ys));
  pen.beginPath();
  for (let at = Math.floor((west - bottom + top) / 9) * 9; at < east; at += 9) { pen.moveTo(at, bottom); pen.lineTo(at + bottom - top, top); }
  pen.lineWidth = 1.2;
  pen.globalAlpha = 0.7;
  pen.stroke();
  pen.restore();
}
