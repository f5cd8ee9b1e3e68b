// The map: binary tiles on one canvas, no WebGL, no network beyond this machine.
import { COLOUR, INK, LINE, paintKept, paintLines, paintOff, paintStation, paintStop, paintText } from "/static/stop_symbols.js";
import { TileBitmaps } from "/static/tile_bitmaps.js";

export class NetworkMap {
  constructor(canvas, facts) {
    this.canvas = canvas;
    this.facts = facts;
    this.tiles = new TileBitmaps(facts, () => this.draw());
    this.marks = { work: [], zone: [], stops: [], off: [], kept: [], ghost: null, hit: [] };
    this.middle = [facts.west_m + facts.extent_m / 2, facts.north_m - facts.extent_m / 2];
    this.metres = facts.extent_m / Math.max(1, Math.min(canvas.clientWidth, canvas.clientHeight));
    this.under = [];   // painters below the marks: (pen, map)
    this.between = []; // painters above the zone, below customers and stops
    this.over = [];    // painters above them all
    this.after = [];   // called when a frame is painted
    this.onPoint = () => {};
    this.onPress = () => null;   // (px, py, event): what takes hold there: { move, end, cancel }
    this.onHover = () => {};
    this.onKey = () => false;    // true: the key is dealt with
    this.waiting = false;
    this.listen();
    new ResizeObserver(() => this.draw()).observe(canvas);
  }

  get width() { return this.canvas.clientWidth; }

  get height() { return this.canvas.clientHeight; }

  get ratio() { return window.devicePixelRatio || 1; }

  toScreen(x, y) {
    return [(x - this.middle[0]) / this.metres + this.width / 2, (this.middle[1] - y) / this.metres + this.height / 2];
  }

  toPlane(px, py) {
    return [this.middle[0] + (px - this.width / 2) * this.metres, this.middle[1] - (py - this.height / 2) * this.metres];
  }

  show(x, y, metres) {
    this.middle = [x, y];
    if (metres) this.metres = metres;
    this.draw();
  }

  zoomBy(factor, px, py) {
    const [x, y] = this.toPlane(px, py);
    this.metres = Math.min(Math.max(this.metres * factor, 0.02), this.facts.extent_m / 100);
    const [nx, ny] = this.toPlane(px, py);
    this.middle = [this.middle[0] + x - nx, this.middle[1] + y - ny];
    this.draw();
  }

  listen() {
    const { canvas } = this;
    let down = null;
    canvas.addEventListener("wheel", (event) => {
      event.preventDefault();
      this.zoomBy(event.deltaY > 0 ? 1.25 : 0.8, event.offsetX, event.offsetY);
    }, { passive: false });
    canvas.addEventListener("pointerdown", (event) => {
      canvas.setPointerCapture(event.pointerId);
      down = { x: event.offsetX, y: event.offsetY, middle: [...this.middle], moved: false, held: this.onPress(event.offsetX, event.offsetY, event) };
    });
    canvas.addEventListener("pointermove", (event) => {
      if (!down) { this.onHover(event.offsetX, event.offsetY); return; }
      const dx = event.offsetX - down.x, dy = event.offsetY - down.y;
      if (Math.hypot(dx, dy) > 4) down.moved = true;
      if (down.held) { down.held.move(event.offsetX, event.offsetY); return; }
      if (!down.moved) return;
      this.middle = [down.middle[0] - dx * this.metres, down.middle[1] + dy * this.metres];
      this.draw();
    });
    canvas.addEventListener("pointerup", (event) => {
      if (down && down.held) down.held.end(event.offsetX, event.offsetY);
      else if (down && !down.moved) this.onPoint(...this.toPlane(event.offsetX, event.offsetY), 12 * this.metres, event);
      down = null;
    });
    canvas.addEventListener("pointercancel", () => { if (down && down.held) down.held.cancel(); down = null; });
    canvas.addEventListener("keydown", (event) => {
      if (this.onKey(event)) { event.preventDefault(); return; }
      const step = 60 * this.metres;
      const moves = { ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, step], ArrowDown: [0, -step] };
      if (moves[event.key]) { this.show(this.middle[0] + moves[event.key][0], this.middle[1] + moves[event.key][1]); event.preventDefault(); }
      const half = [this.width / 2, this.height / 2];
      if (event.key === "+" || event.key === "=") this.zoomBy(0.8, ...half);
      if (event.key === "-") this.zoomBy(1.25, ...half);
      if (event.key === "Enter") { this.onPoint(...this.middle, 30 * this.metres, event); event.preventDefault(); }
    });
  }

  draw() {
    if (this.waiting) return;
    this.waiting = true;
    requestAnimationFrame(() => { this.waiting = false; this.paint(); });
  }

  paint() {
    const { canvas, ratio, width, height } = this;
    if (canvas.width !== Math.round(width * ratio)) canvas.width = Math.round(width * ratio);
    if (canvas.height !== Math.round(height * ratio)) canvas.height = Math.round(height * ratio);
    const pen = canvas.getContext("2d");
    pen.setTransform(ratio, 0, 0, ratio, 0, 0);
    pen.clearRect(0, 0, width, height);
    pen.lineCap = "round";
    const whole = this.tiles.paint(pen, this);
    if (whole && canvas.dataset.drawn === undefined) performance.mark("first view");
    if (whole || canvas.dataset.drawn !== undefined) canvas.dataset.drawn = whole ? "yes" : "no";
    for (const painter of this.under) painter(pen, this);
    this.paintMarks(pen);
    for (const painter of this.over) painter(pen, this);
    for (const done of this.after) done(this);
  }

  paintMarks(pen) {
    const { marks } = this;
    paintLines(pen, this, marks.zone, LINE.isolated);
    // In an emergency the zone is that of a ring, and nothing of the plan is shown.
    if (document.body.dataset.mode !== "emergency") {
      for (const painter of this.between) painter(pen, this);
      paintLines(pen, this, marks.work, LINE.work);
    }
    this.each(marks.off, (px, py) => paintOff(pen, px, py));
    this.each(marks.kept, (px, py) => paintKept(pen, px, py));
    this.each(this.facts.stations, (px, py, name) => { paintStation(pen, px, py); if (this.metres < 4) paintText(pen, px + 15, py - 8, name); });
    for (const [x, y, away] of marks.hit) {
      const [px, py] = this.toScreen(x, y);
      pen.beginPath();
      pen.arc(px, py, away / this.metres, 0, 7);
      pen.strokeStyle = COLOUR.off;
      pen.lineWidth = 2;
      pen.setLineDash([6, 4]);
      pen.stroke();
      pen.setLineDash([]);
      paintText(pen, px + 4, py - 4, "HIT", COLOUR.off);
    }
    marks.stops.forEach((stop, at) => {
      const [px, py] = this.toScreen(stop.x, stop.y);
      paintStop(pen, px, py, stop.kind, (stop.id || `S${at + 1}`).replace(/^S/, ""), INK);
    });
  }

  each(places, paintOne) {
    for (const [x, y, ...more] of places) {
      const [px, py] = this.toScreen(x, y);
      if (px > -20 && py > -20 && px < this.width + 20 && py < this.height + 20) paintOne(px, py, ...more);
    }
  }
}
