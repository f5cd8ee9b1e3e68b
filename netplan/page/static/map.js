// The map: binary tiles on one canvas, no WebGL, no network beyond this machine.
const TILE = 512, COLOURS = ["#2f5d50", "#7a4a2b", "#c3c8c4"], WIDTHS = [2.2, 2.2, 0.8];

export class NetworkMap {
  constructor(canvas, facts) {
    this.canvas = canvas;
    this.facts = facts;
    this.tiles = new Map();
    this.marks = { work: [], zone: [], stops: [], off: [], kept: [], ghost: null, hit: [] };
    this.middle = [facts.west_m + facts.extent_m / 2, facts.north_m - facts.extent_m / 2];
    this.metres = facts.extent_m / Math.max(1, Math.min(canvas.clientWidth, canvas.clientHeight));
    this.onPoint = () => {};
    this.onDrag = null;
    this.waiting = false;
    this.listen();
    new ResizeObserver(() => this.draw()).observe(canvas);
  }

  toScreen(x, y) {
    const box = this.canvas;
    return [(x - this.middle[0]) / this.metres + box.clientWidth / 2, (this.middle[1] - y) / this.metres + box.clientHeight / 2];
  }

  toPlane(px, py) {
    const box = this.canvas;
    return [this.middle[0] + (px - box.clientWidth / 2) * this.metres, this.middle[1] - (py - box.clientHeight / 2) * this.metres];
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
      const grabbed = this.onDrag && this.onDrag("begin", event.offsetX, event.offsetY);
      down = { x: event.offsetX, y: event.offsetY, middle: [...this.middle], moved: false, grabbed };
    });
    canvas.addEventListener("pointermove", (event) => {
      if (!down) return;
      const dx = event.offsetX - down.x, dy = event.offsetY - down.y;
      if (Math.hypot(dx, dy) > 4) down.moved = true;
      if (down.grabbed) { this.onDrag("move", event.offsetX, event.offsetY); return; }
      if (!down.moved) return;
      this.middle = [down.middle[0] - dx * this.metres, down.middle[1] + dy * this.metres];
      this.draw();
    });
    canvas.addEventListener("pointerup", (event) => {
      if (down && down.grabbed) this.onDrag("end", event.offsetX, event.offsetY);
      else if (down && !down.moved) this.onPoint(...this.toPlane(event.offsetX, event.offsetY), 12 * this.metres);
      down = null;
    });
    canvas.addEventListener("keydown", (event) => {
      const step = 60 * this.metres;
      const moves = { ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, step], ArrowDown: [0, -step] };
      if (moves[event.key]) { this.show(this.middle[0] + moves[event.key][0], this.middle[1] + moves[event.key][1]); event.preventDefault(); }
      const half = [canvas.clientWidth / 2, canvas.clientHeight / 2];
      if (event.key === "+" || event.key === "=") this.zoomBy(0.8, ...half);
      if (event.key === "-") this.zoomBy(1.25, ...half);
      if (event.key === "Enter") { this.onPoint(...this.middle, 30 * this.metres); event.preventDefault(); }
    });
  }

  draw() {
    if (this.waiting) return;
    this.waiting = true;
    requestAnimationFrame(() => { this.waiting = false; this.paint(); });
  }

  paint() {
    const { canvas, facts } = this, ratio = window.devicePixelRatio || 1;
    const width = canvas.clientWidth, height = canvas.clientHeight;
    if (canvas.width !== Math.round(width * ratio)) canvas.width = Math.round(width * ratio);
    if (canvas.height !== Math.round(height * ratio)) canvas.height = Math.round(height * ratio);
    const pen = canvas.getContext("2d");
    pen.setTransform(ratio, 0, 0, ratio, 0, 0);
    pen.clearRect(0, 0, width, height);
    pen.lineCap = "round";
    const zoom = Math.max(0, Math.min(facts.farthest_in, Math.round(Math.log2(facts.extent_m / (TILE * this.metres)))));
    const side = facts.extent_m / 2 ** zoom, [west, north] = this.toPlane(0, 0), [east, south] = this.toPlane(width, height);
    const first = (v) => Math.max(0, Math.floor(v / side)), last = (v) => Math.min(2 ** zoom - 1, Math.floor(v / side));
    for (let row = first(facts.north_m - north); row <= last(facts.north_m - south); row += 1)
      for (let column = first(west - facts.west_m); column <= last(east - facts.west_m); column += 1)
        this.paintTile(pen, zoom, column, row, side);
    this.paintMarks(pen);
    canvas.dataset.painted = String(Number(canvas.dataset.painted || 0) + 1);
  }

  paintTile(pen, zoom, column, row, side) {
    const key = `${zoom}/${column}/${row}`, tile = this.tiles.get(key);
    if (tile === undefined) { this.fetchTile(key); return; }
    if (tile === null) return;
    const { facts } = this, scale = side / facts.units / this.metres;
    const [px, py] = this.toScreen(facts.west_m + column * side, facts.north_m - row * side);
    for (const kind of [2, 1, 0]) {
      pen.beginPath();
      for (let line = 0; line < tile.kind.length; line += 1) {
        if (tile.kind[line] !== kind) continue;
        pen.moveTo(px + tile.ends[4 * line] * scale, py + tile.ends[4 * line + 1] * scale);
        pen.lineTo(px + tile.ends[4 * line + 2] * scale, py + tile.ends[4 * line + 3] * scale);
      }
      pen.strokeStyle = COLOURS[kind];
      pen.lineWidth = WIDTHS[kind];
      pen.setLineDash(kind === 1 ? [7, 3] : []);
      pen.stroke();
    }
    pen.setLineDash([]);
  }

  async fetchTile(key) {
    this.tiles.set(key, null);
    const answer = await fetch(`/tiles/${key}`);
    if (!answer.ok) return;
    const bytes = await answer.arrayBuffer(), count = new DataView(bytes).getUint32(0, true);
    this.tiles.set(key, { ends: new Int16Array(bytes, 4, 4 * count), kind: new Uint8Array(bytes, 4 + 8 * count, count) });
    this.draw();
  }

  paintLine(pen, line, colour, width, dash = []) {
    pen.beginPath();
    line.forEach(([x, y], at) => { const [px, py] = this.toScreen(x, y); if (at) pen.lineTo(px, py); else pen.moveTo(px, py); });
    pen.strokeStyle = colour;
    pen.lineWidth = width;
    pen.setLineDash(dash);
    pen.stroke();
    pen.setLineDash([]);
  }

  paintMarks(pen) {
    const { marks } = this;
    for (const line of marks.zone) this.paintLine(pen, line, "#b3261e", 5);
    for (const line of marks.work) this.paintLine(pen, line, "#14202b", 7, [3, 6]);
    for (const [x, y] of marks.off) this.paintDot(pen, x, y, 4, "#b3261e");
    for (const [x, y] of marks.kept) this.paintDot(pen, x, y, 4, "#1c5d99");
    for (const [x, y, name] of this.facts.stations) this.paintText(pen, x, y, name, "#14202b");
    for (const [x, y, away] of marks.hit) {
      const [px, py] = this.toScreen(x, y);
      pen.beginPath();
      pen.arc(px, py, away / this.metres, 0, 7);
      pen.strokeStyle = "#b3261e";
      pen.lineWidth = 2;
      pen.setLineDash([6, 4]);
      pen.stroke();
      pen.setLineDash([]);
      this.paintText(pen, x, y, "HIT", "#b3261e");
    }
    if (marks.ghost) this.paintDot(pen, ...marks.ghost, 8, "#1c5d9999");
    marks.stops.forEach((stop, at) => {
      const [px, py] = this.toScreen(stop.x, stop.y);
      pen.fillStyle = "#fff";
      pen.strokeStyle = "#14202b";
      pen.lineWidth = 2;
      pen.beginPath();
      if (stop.kind === "valve") { pen.moveTo(px - 9, py - 7); pen.lineTo(px + 9, py + 7); pen.lineTo(px + 9, py - 7); pen.lineTo(px - 9, py + 7); pen.closePath(); }
      else if (stop.kind === "squeeze") pen.rect(px - 8, py - 8, 16, 16);
      else pen.arc(px, py, 9, 0, 7);
      pen.fill();
      pen.stroke();
      this.paintText(pen, stop.x, stop.y, stop.id || `S${at + 1}`, "#14202b", 12);
    });
  }

  paintDot(pen, x, y, size, colour) {
    const [px, py] = this.toScreen(x, y);
    pen.beginPath();
    pen.arc(px, py, size, 0, 7);
    pen.fillStyle = colour;
    pen.fill();
  }

  paintText(pen, x, y, text, colour, away = 4) {
    const [px, py] = this.toScreen(x, y);
    pen.font = "600 12px system-ui, sans-serif";
    pen.lineWidth = 3;
    pen.strokeStyle = "#fff";
    pen.strokeText(text, px + away, py - away);
    pen.fillStyle = colour;
    pen.fillText(text, px + away, py - away);
  }
}
