// Tiles of the map: fetched as bytes, drawn once for a scale on a bitmap of their own, blitted after that.
const COLOURS = ["#3f7ba6", "#6d6a64", "#a9bdca"], WIDTHS = [2.2, 2.2, 0.9], EDGE = 3, MOST_BITMAPS = 60, MOST_TILES = 600;
const FINEST_MS = 14;

export class TileBitmaps {
  constructor(facts, again) {
    this.facts = facts;
    this.again = again;
    this.tiles = new Map();
    this.bitmaps = new Map();
    this.asking = 0;
  }

  // Paint what a view shows; false while a tile of it is still to come or to be drawn sharper.
  paint(pen, view) {
    const { facts } = this, zoom = Math.max(0, Math.min(facts.farthest_in, Math.round(Math.log2(facts.extent_m / (512 * view.metres)))));
    const side = facts.extent_m / 2 ** zoom, [west, north] = view.toPlane(0, 0), [east, south] = view.toPlane(view.width, view.height);
    const first = (v) => Math.max(0, Math.floor(v / side)), last = (v) => Math.min(2 ** zoom - 1, Math.floor(v / side));
    const began = performance.now();
    let whole = true;
    for (let row = first(facts.north_m - north); row <= last(facts.north_m - south); row += 1)
      for (let column = first(west - facts.west_m); column <= last(east - facts.west_m); column += 1) {
        const key = `${zoom}/${column}/${row}`, tile = this.tiles.get(key);
        if (tile === undefined) this.fetchTile(key);
        if (!tile) { whole = false; this.paintParent(pen, view, zoom, column, row); continue; }
        let bitmap = this.bitmaps.get(key);
        if (!bitmap || bitmap.metres !== view.metres || bitmap.ratio !== view.ratio) {
          // A blurred one is there: draw sharper ones for a while only, the rest with the next frame.
          if (!bitmap || performance.now() - began < FINEST_MS) bitmap = this.drawn(key, tile, side, view);
          else whole = false;
        }
        this.blit(pen, view, bitmap, facts.west_m + column * side, facts.north_m - row * side, side);
      }
    if (!whole && !this.asking) this.again();
    return whole;
  }

  blit(pen, view, bitmap, west, north, side) {
    const [px, py] = view.toScreen(west, north), wide = side / view.metres, scale = bitmap.metres / view.metres, edge = EDGE * scale;
    const snap = (v) => Math.round(v * view.ratio) / view.ratio;
    if (scale === 1) pen.drawImage(bitmap.canvas, snap(px) - EDGE, snap(py) - EDGE, bitmap.canvas.width / view.ratio, bitmap.canvas.height / view.ratio);
    else pen.drawImage(bitmap.canvas, px - edge, py - edge, wide + 2 * edge, wide + 2 * edge);
  }

  // The part of a coarser tile that is here already, until the finer one comes.
  paintParent(pen, view, zoom, column, row) {
    for (let up = 1; up <= zoom; up += 1) {
      const key = `${zoom - up}/${column >> up}/${row >> up}`, bitmap = this.bitmaps.get(key);
      if (!bitmap) continue;
      const side = this.facts.extent_m / 2 ** zoom, parts = 2 ** up, wide = (bitmap.canvas.width / bitmap.ratio - 2 * EDGE) / parts;
      const at = (index) => (EDGE + (index % parts) * wide) * bitmap.ratio;
      const [px, py] = view.toScreen(this.facts.west_m + column * side, this.facts.north_m - row * side);
      pen.drawImage(bitmap.canvas, at(column), at(row), wide * bitmap.ratio, wide * bitmap.ratio, px, py, side / view.metres, side / view.metres);
      return;
    }
  }

  drawn(key, tile, side, view) {
    const pixels = Math.ceil((side / view.metres + 2 * EDGE) * view.ratio), canvas = document.createElement("canvas");
    canvas.width = pixels;
    canvas.height = pixels;
    const pen = canvas.getContext("2d"), step = side / this.facts.units / view.metres;
    pen.setTransform(view.ratio, 0, 0, view.ratio, EDGE * view.ratio, EDGE * view.ratio);
    pen.lineCap = "round";
    for (const kind of [2, 1, 0]) {
      if (kind === 2 && view.metres > 2.5) continue;
      pen.beginPath();
      for (let n = 0, at = 0; n < tile.kind.length; n += 1, at += 4) {
        if (tile.kind[n] !== kind) continue;
        pen.moveTo(tile.ends[at] * step, tile.ends[at + 1] * step);
        pen.lineTo(tile.ends[at + 2] * step, tile.ends[at + 3] * step);
      }
      pen.strokeStyle = COLOURS[kind];
      pen.lineWidth = Math.max(0.8, WIDTHS[kind] * Math.min(1.6, Math.max(0.45, 1.2 / view.metres ** 0.35)));
      pen.setLineDash(kind === 1 ? [9, 4] : []);
      pen.stroke();
    }
    const bitmap = { canvas, metres: view.metres, ratio: view.ratio };
    this.bitmaps.delete(key);
    this.bitmaps.set(key, bitmap);
    for (const old of this.bitmaps.keys()) { if (this.bitmaps.size <= MOST_BITMAPS) break; this.bitmaps.delete(old); }
    return bitmap;
  }

  async fetchTile(key) {
    for (const old of this.tiles.keys()) { if (this.tiles.size <= MOST_TILES) break; this.tiles.delete(old); }
    this.tiles.set(key, null);
    this.asking += 1;
    try {
      const answer = await fetch(`/tiles/${key}`);
      if (!answer.ok) return;
      const bytes = await answer.arrayBuffer(), count = new DataView(bytes).getUint32(0, true);
      this.tiles.set(key, { ends: new Int16Array(bytes, 4, 4 * count), kind: new Uint8Array(bytes, 4 + 8 * count, count) });
    } finally { this.asking -= 1; this.again(); }
  }
}
