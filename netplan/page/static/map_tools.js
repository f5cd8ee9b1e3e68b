// The map's tools: what a click means, what can be taken hold of, what is painted over the mains.
import { byId, state } from "/static/state.js";
import { CloseIn } from "/static/map_details.js";
import { AreaDrawing, LengthDrawing } from "/static/drawing.js";
import { MapOverlay } from "/static/map_overlay.js";
import { customerMenu, closeMenu } from "/static/customer_menu.js";
import { paintBarred } from "/static/barred_places.js";
import { paintFurniture } from "/static/map_furniture.js";
import { paintGhost, paintPlaces, placeStops } from "/static/stop_buttons.js";
import { paintLeaders, paintWork, placeHandles } from "/static/work_handles.js";
import { point } from "/static/pointing.js";

const TOOLS = [
  ["work", "Point at the work", "click a main: the work; with Shift a further length"],
  ["add", "Add a length", "click a main: a further length of the work"],
  ["area", "Draw an area", "click its corners, Enter closes it: the mains in it become the work"],
  ["keep-out", "Keep-out area", "click its corners, Enter closes it: no stop in it"],
  ["no-stop", "No stop here", "press on a main and drag along it"],
];
const tool = { name: "work", drawing: null };

function take(map, name, words = "") {
  tool.name = name;
  tool.drawing = name === "area" || name === "keep-out" ? new AreaDrawing(map, name === "area" ? "area" : "keep-out", (said) => take(map, "work", said))
    : name === "no-stop" ? new LengthDrawing(map, (said) => take(map, "work", said)) : null;
  for (const button of byId("map-tools").children) button.setAttribute("aria-pressed", String(button.dataset.tool === name));
  byId("map-say").textContent = words || TOOLS.find(([one]) => one === name)[2];
  map.canvas.dataset.tool = name;
  map.draw();
}

function toolbar(map) {
  const bar = document.createElement("div");
  bar.id = "map-tools";
  bar.setAttribute("role", "toolbar");
  bar.setAttribute("aria-label", "Tools of the map");
  for (const [name, words, title] of TOOLS) {
    const button = document.createElement("button");
    button.type = "button";
    button.textContent = words;
    button.title = title;
    button.dataset.tool = name;
    button.setAttribute("aria-pressed", String(name === "work"));
    button.addEventListener("click", () => { take(map, name); map.canvas.focus(); });
    bar.append(button);
  }
  byId("map").before(bar);
  document.addEventListener("mode", () => { bar.hidden = state.mode === "emergency"; take(map, "work", bar.hidden ? "click where the main was hit" : ""); });
}

function click(map, close, x, y, reach, event) {
  closeMenu(false);
  if (state.mode === "emergency") { point(x, y, reach); return; }
  if (tool.drawing) { if (tool.drawing.click) tool.drawing.click(x, y); return; }
  const [px, py] = map.toScreen(x, y), one = close.customerAt(px, py, event instanceof KeyboardEvent ? 24 : 9);
  if (one) { customerMenu(one, px, py); return; }
  point(x, y, reach, tool.name === "add" || event.shiftKey);
}

function paintMiddle(pen, map) {
  // Keys act on the middle of the map: it is marked while they do.
  if (document.activeElement !== map.canvas || !map.canvas.matches(":focus-visible")) return;
  const px = map.width / 2, py = map.height / 2;
  pen.beginPath();
  for (const [dx, dy] of [[1, 0], [-1, 0], [0, 1], [0, -1]]) { pen.moveTo(px + 4 * dx, py + 4 * dy); pen.lineTo(px + 14 * dx, py + 14 * dy); }
  pen.strokeStyle = "#1b1b1b";
  pen.lineWidth = 2;
  pen.stroke();
}

export function beginMap(map) {
  const over = new MapOverlay(map), close = new CloseIn(map), bubble = document.createElement("p");
  bubble.id = "map-reason";
  bubble.hidden = true;
  over.root.after(bubble);
  toolbar(map);
  map.onPoint = (x, y, reach, event) => click(map, close, x, y, reach, event);
  map.onPress = (px, py) => (tool.drawing && tool.drawing.press && state.mode !== "emergency" ? tool.drawing.press(px, py) : null);
  map.onHover = (px, py) => {
    if (tool.drawing && tool.drawing.move && tool.drawing.ring) tool.drawing.move(px, py);
    map.canvas.style.cursor = tool.drawing ? "crosshair" : close.customerAt(px, py) ? "pointer" : "";
  };
  map.onKey = (event) => {
    if (tool.drawing && tool.drawing.key(event)) return true;
    if (event.key === "Escape" && tool.name !== "work") { take(map, "work"); return true; }
    return false;
  };
  map.under.push((pen) => close.paint(pen), paintBarred);
  map.between.push(paintWork, paintLeaders, paintPlaces);
  map.over.push(paintGhost, (pen) => tool.drawing && tool.drawing.paint(pen), paintMiddle, paintFurniture);
  map.after.push(() => placeHandles(map, over), () => placeStops(map, over));
  for (const name of ["focus", "blur"]) map.canvas.addEventListener(name, () => map.draw());
  map.draw();
}
