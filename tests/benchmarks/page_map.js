// One network drawn three ways on the same tiles: our own canvas, Leaflet with canvas tiles, MapLibre GL.
const COLOURS = ["#3f7ba6", "#6d6a64", "#a9bdca"], WIDTHS = [2.2, 2.2, 0.9], ZONE = ["#d55e00", "#cc79a7"], SERVICES_BELOW = 2.5;
const frame = () => new Promise((then) => requestAnimationFrame(then));
const facts = await (await fetch("/facts")).json(), pipes = await (await fetch("/pipes")).json();
const view = document.getElementById("map"), least = Math.min(view.clientWidth, view.clientHeight);
const asked = new URL(location.href).searchParams.get("way");
const scaleOf = (share) => (facts.extent_m * share) / least;

async function own() {
  const { NetworkMap } = await import("/static/map.js");
  const canvas = document.createElement("canvas");
  canvas.style.cssText = "width:100%;height:100%;display:block";
  view.append(canvas);
  const map = new NetworkMap(canvas, { ...facts, stations: [] });
  const drawn = async () => { do await frame(); while (canvas.dataset.drawn !== "yes"); await frame(); };
  map.draw();
  await drawn();
  return {
    async show(share) { map.show(...facts.middle, scaleOf(share)); canvas.dataset.drawn = "no"; await drawn(); },
    async recolour() { map.marks.zone = pipes; map.draw(); await frame(); await frame(); },
    step() { map.show(map.middle[0] + 8 * map.metres, map.middle[1]); },
  };
}

async function leaflet() {
  await new Promise((then) => { const script = document.createElement("script"); script.src = "/npm/leaflet/dist/leaflet.js"; script.onload = then; document.head.append(script); });
  const style = document.createElement("link");
  style.rel = "stylesheet";
  style.href = "/npm/leaflet/dist/leaflet.css";
  document.head.append(style);
  const { L } = window;
  // One unit of the plane of zoom 0 is a point of a tile of 512.
  const at = ([x, y]) => L.latLng(((y - facts.north_m) / facts.extent_m) * 512, ((x - facts.west_m) / facts.extent_m) * 512);
  const Tiles = L.GridLayer.extend({
    createTile(place, done) {
      const tile = document.createElement("canvas"), size = this.getTileSize(), count = 2 ** place.z;
      tile.width = size.x;
      tile.height = size.y;
      if (place.x < 0 || place.y < 0 || place.x >= count || place.y >= count) { setTimeout(done, 0); return tile; }
      fetch(`/tiles/${place.z}/${place.x}/${place.y}`).then((answer) => answer.arrayBuffer()).then((bytes) => { paint(tile, bytes, size.x, facts.extent_m / count / size.x); done(null, tile); });
      return tile;
    },
  });
  const map = L.map(view, { crs: L.CRS.Simple, zoomSnap: 0, zoomControl: false, attributionControl: false, fadeAnimation: false, zoomAnimation: false, maxBounds: null, minZoom: -2, maxZoom: 20, preferCanvas: true });
  const zoomOf = (share) => Math.log2(facts.extent_m / (512 * scaleOf(share)));
  const layer = new Tiles({ tileSize: 512, noWrap: true, minNativeZoom: 0, maxNativeZoom: facts.farthest_in, keepBuffer: 1 });
  const loaded = () => new Promise((then) => layer.once("load", then));
  map.setView(at(facts.middle), zoomOf(1));
  const first = loaded();
  layer.addTo(map);
  await first;
  await frame();
  const group = L.layerGroup().addTo(map), renderer = L.canvas();
  return {
    async show(share) { const wait = loaded(); map.setView(at(facts.middle), zoomOf(share), { animate: false }); await wait; await frame(); },
    async recolour(n) {
      group.clearLayers();
      for (const line of pipes) L.polyline(line.map(at), { renderer, color: ZONE[n % 2], weight: 8 }).addTo(group);
      await frame();
      await frame();
    },
    step() { map.panBy([8, 0], { animate: false }); },
  };
}

function paint(tile, bytes, size, metres) {
  const count = new DataView(bytes).getUint32(0, true), ends = new Int16Array(bytes, 4, 4 * count), kinds = new Uint8Array(bytes, 4 + 8 * count, count);
  const pen = tile.getContext("2d"), step = size / facts.units;
  pen.lineCap = "round";
  for (const kind of metres > SERVICES_BELOW ? [1, 0] : [2, 1, 0]) {
    pen.beginPath();
    for (let n = 0; n < count; n += 1) {
      if (kinds[n] !== kind) continue;
      pen.moveTo(ends[4 * n] * step, ends[4 * n + 1] * step);
      pen.lineTo(ends[4 * n + 2] * step, ends[4 * n + 3] * step);
    }
    pen.strokeStyle = COLOURS[kind];
    pen.lineWidth = WIDTHS[kind];
    pen.stroke();
  }
}

async function maplibre() {
  const style = document.createElement("link");
  style.rel = "stylesheet";
  style.href = "/npm/maplibre-gl/dist/maplibre-gl.css";
  document.head.append(style);
  const gl = await import("/npm/maplibre-gl/dist/maplibre-gl.mjs");
  if (gl.setWorkerUrl) gl.setWorkerUrl("/npm/maplibre-gl/dist/maplibre-gl-worker.mjs");
  const at = ([x, y]) => {
    const u = (x - facts.west_m) / facts.extent_m, v = (facts.north_m - y) / facts.extent_m;
    return [u * 360 - 180, (Math.atan(Math.sinh(Math.PI * (1 - 2 * v))) * 180) / Math.PI];
  };
  const zoomOf = (share) => Math.log2(facts.extent_m / (512 * scaleOf(share)));
  const lines = { type: "FeatureCollection", features: pipes.map((line) => ({ type: "Feature", properties: {}, geometry: { type: "LineString", coordinates: line.map(at) } })) };
  const none = { type: "FeatureCollection", features: [] };
  const layers = [2, 1, 0].map((kind) => ({ id: `kind${kind}`, type: "line", source: "net", "source-layer": "mains", filter: ["==", ["get", "kind"], kind], minzoom: kind === 2 ? Math.log2(facts.extent_m / (512 * SERVICES_BELOW)) : 0, paint: { "line-color": COLOURS[kind], "line-width": WIDTHS[kind] } }));
  const map = new gl.Map({
    container: view, center: at(facts.middle), zoom: zoomOf(1), minZoom: -2, maxZoom: 20, renderWorldCopies: false, fadeDuration: 0, attributionControl: false, trackResize: false,
    style: { version: 8, sources: { net: { type: "vector", tiles: [`${location.origin}/vector/{z}/{x}/{y}`], minzoom: 0, maxzoom: facts.farthest_in }, zone: { type: "geojson", data: none } }, layers: [...layers, { id: "zone", type: "line", source: "zone", paint: { "line-color": ZONE[0], "line-width": 8 } }] },
  });
  const idle = () => new Promise((then) => map.once("idle", then));
  await idle();
  await frame();
  return {
    async show(share) { const wait = idle(); map.jumpTo({ center: at(facts.middle), zoom: zoomOf(share) }); await wait; await frame(); },
    async recolour(n) { const wait = idle(); map.setPaintProperty("zone", "line-color", ZONE[n % 2]); map.getSource("zone").setData(lines); await wait; await frame(); },
    step() { map.panBy([8, 0], { duration: 0 }); },
  };
}

async function measured(shown, share) {
  const found = { first_ms: performance.now() };
  if (share < 1) await shown.show(share);
  const times = [];
  for (let n = 0; n < 9; n += 1) {
    await frame();
    const began = performance.now();
    await shown.recolour(n);
    times.push(performance.now() - began);
  }
  found.recolour_ms = times;
  const frames = [];
  let last = await frame();
  for (let n = 0; n < 90; n += 1) { shown.step(); const now = await frame(); frames.push(now - last); last = now; }
  found.pan_ms = frames;
  return found;
}

const ways = { own, leaflet, maplibre };
window.measure = async (share) => measured(await ways[asked](), share);
window.ready = true;
