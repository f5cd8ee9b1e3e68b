/* Symbols: every one differs by shape and by letter or line pattern, not by colour alone. */
const COLOUR = { off: "#d55e00", kept: "#009e73", standby: "#f0e442", dead: "#cc79a7", live: "#0072b2", feed: "#56b4e9", doubt: "#e69f00" };

function letter(text, fill) { return draw("text", { x: 0, y: 0.5, fill }, String(text)); }

const STOP_SHAPE = {
  bag: (attributes) => [draw("circle", { r: 13, ...attributes })],
  squeeze: (attributes) => [
    draw("rect", { x: -10.5, y: -12, width: 21, height: 24, ...attributes }),
    draw("path", { d: "M-15 -12v24M15 -12v24", stroke: attributes.stroke === "#fff" ? INK : attributes.stroke, "stroke-width": 3 }),
  ],
  valve: (attributes) => [draw("path", { d: "M0 -17L17 0L0 17L-17 0Z", ...attributes })],
};

const SYMBOL = {
  stop(thing) {
    const shape = { fill: INK, stroke: "#fff", "stroke-width": 2 };
    const parts = STOP_SHAPE[thing.kind](shape);
    if (thing.provisional) parts.push(draw("circle", { r: 19.5, fill: "none", stroke: INK, "stroke-width": 1.5, "stroke-dasharray": "3 3" }));
    return draw("g", {}, ...parts, letter(thing.number, "#fff"));
  },
  fallback() {
    return draw("g", {}, draw("circle", { r: 12, fill: "#fff", stroke: INK, "stroke-width": 2, "stroke-dasharray": "4 3" }), letter("F", INK));
  },
  gauge() {
    return draw("g", {}, draw("circle", { r: 10, fill: "#fff", stroke: INK, "stroke-width": 2 }), letter("G", INK));
  },
  purge(thing) {
    return draw("g", {}, draw("path", { d: "M0 -14L13 10H-13Z", fill: COLOUR.feed, stroke: INK, "stroke-width": 1.5 }),
      draw("text", { x: 0, y: 3, fill: INK, style: "font-size:11px" }, thing.role === "feed" ? "F" : "V"));
  },
  station() {
    return draw("g", {}, draw("path", { d: "M-12 12V-3L0 -13L12 -3V12Z", fill: COLOUR.live, stroke: "#fff", "stroke-width": 2 }),
      draw("text", { x: 0, y: 3, fill: "#fff" }, "R"));
  },
  tapping(thing) {
    const dot = draw("circle", { r: 4, fill: thing.role === "barrier" ? INK : "#fff", stroke: INK, "stroke-width": 1.5 });
    return draw("g", {}, dot);
  },
  closed() {
    return draw("g", {}, draw("circle", { r: 7, fill: "#fff", stroke: INK, "stroke-width": 1.5 }), draw("path", { d: "M-4 -4L4 4M-4 4L4 -4", stroke: INK, "stroke-width": 2 }));
  },
  beside() {
    return draw("path", { d: "M11 -15L16 -6H6Z", fill: COLOUR.standby, stroke: INK, "stroke-width": 1.2 });
  },
  doubt(thing) {
    const parts = thing.priority ? [draw("path", { d: "M0 -17L17 0L0 17L-17 0Z", fill: "#fff", stroke: INK, "stroke-width": 2.5 })] : [];
    parts.push(draw("path", { d: "M-4.6 -8.5H4.6L9.2 0L4.6 8.5H-4.6L-9.2 0Z", fill: "#fff", stroke: COLOUR.doubt, "stroke-width": 2.5 }), letter("?", INK));
    return draw("g", {}, ...parts);
  },
  customer(thing) {
    const parts = [];
    if (thing.priority) parts.push(draw("path", { d: "M0 -13L13 0L0 13L-13 0Z", fill: "#fff", stroke: INK, "stroke-width": 2.5 }));
    if (thing.weak) parts.push(draw("circle", { r: 11, fill: "none", stroke: COLOUR.dead, "stroke-width": 2.5, "stroke-dasharray": "3 2" }));
    if (thing.effect === "off") {
      parts.push(draw("rect", { x: -6, y: -6, width: 12, height: 12, fill: COLOUR.off, stroke: "#fff", "stroke-width": 1 }),
        draw("path", { d: "M-3.4 -3.4L3.4 3.4M-3.4 3.4L3.4 -3.4", stroke: "#fff", "stroke-width": 2 }));
    } else if (thing.effect === "kept") {
      parts.push(draw("circle", { r: 5.2, fill: "#fff", stroke: COLOUR.kept, "stroke-width": 3.2 }));
    } else {
      parts.push(draw("path", { d: "M0 -7.5L7 5.5H-7Z", fill: COLOUR.standby, stroke: INK, "stroke-width": 1.3 }));
    }
    return draw("g", {}, ...parts);
  },
};

/* Lines: a list of strokes, drawn one over the other. */
const LINE = {
  live: [{ color: COLOUR.live, weight: 3 }],
  work: [{ color: INK, weight: 13, lineCap: "butt" }, { color: "#f0e442", weight: 9, dashArray: "11 9", lineCap: "butt" }],
  isolated: [{ color: COLOUR.off, weight: 8, lineCap: "butt" }, { color: "#fff", weight: 2.5, dashArray: "7 6", lineCap: "butt" }],
  stranded: [{ color: INK, weight: 7.5, dashArray: "0.1 10" }, { color: COLOUR.dead, weight: 5.5, dashArray: "0.1 10" }],
  fed: [{ color: COLOUR.kept, weight: 5, dashArray: "13 5 2 5", lineCap: "butt" }],
  other: [{ color: "#6d6a64", weight: 2.5, dashArray: "9 4" }],
  closed: [{ color: INK, weight: 5, lineCap: "butt" }],
  bypass: [{ color: INK, weight: 8 }, { color: COLOUR.feed, weight: 4.5 }],
  refused: [{ color: INK, weight: 17, opacity: 0.7, dashArray: "2 4", lineCap: "butt" }],
};

function swatch(content, width = 34) {
  return draw("svg", { width, height: 26, viewBox: "-17 -17 34 34", "aria-hidden": "true" }, content);
}

function lineSwatch(strokes) {
  const paths = strokes.map((s) => draw("path", { d: "M-17 0H17", stroke: s.color, "stroke-width": s.weight, "stroke-dasharray": s.dashArray || "none",
    "stroke-linecap": s.lineCap || "round", "stroke-opacity": s.opacity || 1, fill: "none" }));
  return swatch(draw("g", {}, ...paths));
}

function areaSwatch(fill, stroke) {
  return swatch(draw("rect", { x: -13, y: -8, width: 26, height: 16, fill, stroke }));
}

/* A mark with a leader: the symbol stands off so that neighbours don't cover each other or the pipe. */
function leaderIcon(content, direction, reach) {
  const [dx, dy] = [direction[0] * reach, direction[1] * reach];
  const picture = draw("svg", { width: 1, height: 1 },
    draw("path", { d: `M0 0L${dx} ${dy}`, stroke: "#fff", "stroke-width": 4 }),
    draw("path", { d: `M0 0L${dx} ${dy}`, stroke: INK, "stroke-width": 1.6 }),
    draw("circle", { r: 3, fill: INK, stroke: "#fff" }),
    draw("g", { transform: `translate(${dx} ${dy})` }, content));
  return L.divIcon({ className: "mark", html: build("div", {}, picture), iconSize: [1, 1], iconAnchor: [0, 0] });
}

function plainIcon(content) {
  return L.divIcon({ className: "mark", html: build("div", {}, draw("svg", { width: 1, height: 1 }, content)), iconSize: [1, 1], iconAnchor: [0, 0] });
}
