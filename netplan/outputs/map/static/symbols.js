/* Symbols: every one differs by shape and by letter or line pattern, not by colour alone. Letters are the plan's own
   ids: S stop, B bypass or hose, P purge point, G gauge, H excavation; F is a fallback, R a regulator station. */
const COLOUR = { off: "#d55e00", kept: "#009e73", standby: "#f0e442", dead: "#cc79a7", live: "#0072b2", feed: "#56b4e9", doubt: "#e69f00" };

/* An id inside a symbol: smaller the longer it is. */
function letter(text, fill, y = 0.5) {
  const size = { 1: 13, 2: 11.5, 3: 9.5 }[String(text).length] || 8;
  return draw("text", { x: 0, y, fill, style: `font-size:${size}px` }, String(text));
}

const STOP_SHAPE = {
  bag: (attributes) => [draw("circle", { r: 13, ...attributes })],
  squeeze: (attributes) => [
    draw("rect", { x: -10.5, y: -12, width: 21, height: 24, ...attributes }),
    draw("path", { d: "M-15 -12v24M15 -12v24", stroke: attributes.stroke === "#fff" ? INK : attributes.stroke, "stroke-width": 3 }),
  ],
  valve: (attributes) => [draw("path", { d: "M0 -17L17 0L0 17L-17 0Z", ...attributes })],
};

/* A label of text on white; its half width goes with it, for whoever places it. */
function tagHalfWidth(text, size = 12.5) { return 7 + String(text).length * size * 0.3; }
function tag(text, more = {}, size = 12.5) {
  const half = tagHalfWidth(text, size);
  return draw("g", {}, draw("rect", { x: -half, y: -10, width: 2 * half, height: 20, rx: 3, fill: "#fff", stroke: INK, "stroke-width": 1.5, ...more }),
    draw("text", { x: 0, y: 0.5, fill: INK, style: `font-size:${size}px` }, text));
}

const SYMBOL = {
  stop(thing) {
    const [ground, ink] = thing.before ? ["#fff", INK] : [INK, "#fff"];
    const shape = { fill: ground, stroke: ink, "stroke-width": 2 };
    const parts = STOP_SHAPE[thing.kind](shape);
    if (thing.provisional) parts.push(draw("circle", { r: 19.5, fill: "none", stroke: INK, "stroke-width": 1.5, "stroke-dasharray": "3 3" }));
    return draw("g", {}, ...parts, letter(thing.id, ink));
  },
  fallback(thing) { return tag(thing.id, { rx: 10, "stroke-width": 1.8, "stroke-dasharray": "4 3" }, 11.5); },
  gauge(thing) {
    return draw("g", {}, draw("circle", { r: 11, fill: "#fff", stroke: INK, "stroke-width": 2 }), letter(thing.id, INK));
  },
  purge(thing) {
    const feeds = thing.role === "feed";
    return draw("g", {}, draw("path", { d: feeds ? "M0 -15L14 11H-14Z" : "M0 15L14 -11H-14Z", fill: COLOUR.feed, stroke: INK, "stroke-width": 1.5 }), letter(thing.id, INK, feeds ? 3.5 : -3));
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
  valve() {
    return draw("path", { d: "M-7 -4.5L7 4.5V-4.5L-7 4.5Z", fill: "#fff", stroke: INK, "stroke-width": 1.5, "stroke-linejoin": "round" });
  },
  opened() {
    return draw("g", {}, draw("circle", { r: 11, fill: "#fff", stroke: COLOUR.kept, "stroke-width": 3 }), SYMBOL.valve());
  },
  doubt(thing) {
    const parts = thing.priority ? [draw("path", { d: "M0 -17L17 0L0 17L-17 0Z", fill: "#fff", stroke: INK, "stroke-width": 2.5 })] : [];
    parts.push(draw("path", { d: "M-4.6 -8.5H4.6L9.2 0L4.6 8.5H-4.6L-9.2 0Z", fill: "#fff", stroke: COLOUR.doubt, "stroke-width": 2.5 }), letter("?", INK));
    return draw("g", {}, ...parts);
  },
  /* One who is fed and on standby carries both marks: the ring of the kept, and the triangle. */
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
    if (thing.standby && thing.effect !== "standby") parts.push(draw("path", { class: "on-standby", d: "M9 -14L15 -4H3Z", fill: COLOUR.standby, stroke: INK, "stroke-width": 1.2 }));
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
  hose: [{ color: INK, weight: 8, lineCap: "butt" }, { color: COLOUR.feed, weight: 4.5, lineCap: "butt" }, { color: "#fff", weight: 4.5, dashArray: "4 9", lineCap: "butt" }],
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

function plainIcon(content) {
  return L.divIcon({ className: "mark", html: build("div", {}, draw("svg", { width: 1, height: 1 }, content)), iconSize: [1, 1], iconAnchor: [0, 0] });
}
