/* Where labels stand: off the thing they name, on a leader, so that no label covers another, the work or a pipe's
   stops. They are placed again whenever the scale changes. */
const LABEL_REACH = [28, 40, 54, 70, 90, 114, 142];
const LABEL_TURNS = 24;
const LABEL_ROUNDS = 3;
const FIRST_MOVED = 2;
const STRICT = 500;
const NEAR_ZOOM = 16.5;

class LabelPlaces {
  /* `obstacles` returns places to keep clear: [place, radius in pixels, price]. */
  constructor(map, obstacles) {
    this.map = map;
    this.obstacles = obstacles;
    this.labels = new Set();
    map.on("zoomend", () => this.layout());
  }

  /* Return an icon whose label is placed here. `rank`: the lowest is placed first; `minor` ones wait until near. */
  icon(content, size) {
    const casing = draw("path", { stroke: "#fff", "stroke-width": 4 }), leader = draw("path", { stroke: INK, "stroke-width": 1.6 });
    const label = draw("g", { class: "label" }, content);
    const picture = draw("svg", { width: 1, height: 1 }, casing, leader, draw("circle", { r: 3, fill: INK, stroke: "#fff" }), label);
    const icon = L.divIcon({ className: "mark", html: build("div", {}, picture), iconSize: [1, 1], iconAnchor: [0, 0] });
    icon.parts = { casing, leader, label, size };
    return icon;
  }

  follow(marker, { rank, minor, away }) {
    const entry = { marker, rank, minor, away, parts: marker.options.icon.parts };
    marker.on("add", () => { this.labels.add(entry); this.queue(); });
    marker.on("remove", () => { this.labels.delete(entry); this.queue(); });
    return marker;
  }

  queue() {
    if (this.queued) return;
    this.queued = true;
    queueMicrotask(() => { this.queued = false; this.layout(); });
  }

  layout() {
    const far = this.map.getZoom() < NEAR_ZOOM;
    const [view, offset] = [this.map.getSize(), this.map.containerPointToLayerPoint([0, 0])];
    const window = { left: offset.x + 4, top: offset.y + 4, right: offset.x + view.x - 4, bottom: offset.y + view.y - 4 };
    const barred = this.obstacles().map(([place, radius, price]) => ({ ...this.map.latLngToLayerPoint(place), radius, price }));
    const placed = this.furniture(offset);
    const shown = [...this.labels].filter((one) => !(far && one.minor));
    for (const one of shown) one.box = null;
    for (const one of shown) one.point = this.map.latLngToLayerPoint(one.marker.getLatLng());
    for (const one of shown) barred.push({ x: one.point.x, y: one.point.y, radius: 4, price: 60 });
    /* The lowest rank is placed first. Stops and work stay; the others are placed again, which undoes crossings. */
    shown.sort((a, b) => a.rank - b.rank);
    for (let round = 0; round < LABEL_ROUNDS; round += 1) {
      for (const one of shown) {
        if (round > 0 && one.rank < FIRST_MOVED) continue;
        const others = shown.filter((other) => other !== one && other.box).map((other) => other.box);
        one.box = this.best(one, placed.concat(others), barred, window);
      }
    }
    for (const { box, point, parts } of shown) {
      const [dx, dy] = [box.x - point.x, box.y - point.y];
      for (const path of [parts.casing, parts.leader]) path.setAttribute("d", `M0 0L${dx.toFixed(1)} ${dy.toFixed(1)}`);
      parts.label.setAttribute("transform", `translate(${dx.toFixed(1)} ${dy.toFixed(1)})`);
    }
  }

  /* What stands over the map: the scale and the buttons. No label goes under them. */
  furniture(offset) {
    const home = this.map.getContainer().getBoundingClientRect();
    return [...this.map.getContainer().querySelectorAll(".leaflet-control"), at("north")].map((one) => one.getBoundingClientRect()).filter((box) => box.width).map((box) => {
      const edges = { left: box.left - home.left + offset.x, right: box.right - home.left + offset.x, top: box.top - home.top + offset.y, bottom: box.bottom - home.top + offset.y };
      const middle = { x: (edges.left + edges.right) / 2, y: (edges.top + edges.bottom) / 2 };
      return { ...edges, ...middle, from: middle };
    });
  }

  best(one, placed, barred, window) {
    const [half, tall] = one.parts.size;
    const [ax, ay] = one.away(one.marker.getLatLng());
    const start = Math.atan2(ay, ax);
    const seen = one.point.x > window.left && one.point.x < window.right && one.point.y > window.top && one.point.y < window.bottom;
    let best = null;
    for (const reach of LABEL_REACH) {
      for (let k = 0; k < LABEL_TURNS; k += 1) {
        const turn = (k % 2 ? -1 : 1) * Math.ceil(k / 2) * ((2 * Math.PI) / LABEL_TURNS);
        const [c, s] = [Math.cos(start + turn), Math.sin(start + turn)];
        const x = one.point.x + c * (reach + Math.max(0, half - 14)), y = one.point.y + s * (reach + Math.max(0, tall - 14));
        const box = { x, y, left: x - half, right: x + half, top: y - tall, bottom: y + tall, from: one.point };
        const price = reach * 0.6 + Math.abs(turn) * 8 + this.price(box, placed, barred, seen ? window : null);
        if (!best || price < best.price) best = { ...box, price };
      }
    }
    return best;
  }

  price(box, placed, barred, window) {
    let price = 0;
    for (const other of placed) {
      if (box.left < other.right + 3 && box.right > other.left - 3 && box.top < other.bottom + 3 && box.bottom > other.top - 3) price += 2000;
      if (crossing(box.from, box, other.from, other)) price += 90;
      if (through(box.from, box, other)) price += 160;
      if (through(other.from, other, box)) price += 160;
    }
    for (const one of barred) if (one.x > box.left - one.radius && one.x < box.right + one.radius && one.y > box.top - one.radius && one.y < box.bottom + one.radius) price += one.price;
    for (const one of barred) if (one.price >= STRICT && apart(one, box.from, box) < one.radius) price += 120;
    if (window && (box.left < window.left || box.right > window.right || box.top < window.top || box.bottom > window.bottom)) price += 900;
    return price;
  }
}

function side(a, b, c) { return Math.sign((b.x - a.x) * (c.y - a.y) - (b.y - a.y) * (c.x - a.x)); }
function crossing(a, b, c, d) { return side(a, b, c) * side(a, b, d) < 0 && side(c, d, a) * side(c, d, b) < 0; }

/* How far a place is from a leader, its first pixels aside. */
function apart(place, a, b) {
  const [dx, dy] = [b.x - a.x, b.y - a.y];
  const size = Math.hypot(dx, dy) || 1;
  const share = Math.min(1, Math.max(12 / size, ((place.x - a.x) * dx + (place.y - a.y) * dy) / (size * size)));
  return Math.hypot(a.x + share * dx - place.x, a.y + share * dy - place.y);
}

/* Whether a leader runs through a label. */
function through(a, b, box) {
  for (let k = 1; k < 8; k += 1) {
    const x = a.x + ((b.x - a.x) * k) / 8, y = a.y + ((b.y - a.y) * k) / 8;
    if (x > box.left && x < box.right && y > box.top && y < box.bottom) return true;
  }
  return false;
}
