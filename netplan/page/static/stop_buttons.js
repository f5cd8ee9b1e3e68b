// The stops of the option shown, as buttons on the map: dragged, moved by keys, forbidden by Delete.
import { byId, state } from "/static/state.js";
import { changed } from "/static/orders.js";
import { StopGhost, nameOfStop } from "/static/stop_ghost.js";

const STEP_M = 0.5, LONG_STEP_M = 5;
const shown = { stops: null, buttons: [], ghost: null };

const nameOf = (stop, at) => stop.id || `S${at + 1}`;
const placeOf = (stop) => (stop.valve_id ? `valve ${stop.valve_id}` : `${stop.main_id} at ${stop.chainage_m} m`);

export function paintPlaces(pen) { if (shown.ghost) shown.ghost.paintPlaces(pen); }

export function paintGhost(pen) { if (shown.ghost) shown.ghost.paint(pen); }

function hold(stop) {
  shown.ghost = new StopGhost(state.map, stop);
  return shown.ghost;
}

async function letGo() {
  const { ghost } = shown;
  if (!ghost) return;
  shown.ghost = null;
  const { place, label, why } = await ghost.end();
  byId("map-say").textContent = why || `stop ordered at ${label}`;
  if (why) return;
  changed((next) => { next.force = next.force.filter((name) => name !== ghost.was); next.force.push(place); });
}

function giveUp() {
  if (!shown.ghost) return;
  shown.ghost.close();
  shown.ghost = null;
  byId("map-say").textContent = "the stop stays where it was";
}

function made(stop, at, over) {
  const button = over.button("map-stop", (px, py) => shown.ghost && shown.ghost.follow(px, py), letGo,
    () => { if (shown.ghost) { shown.ghost.close(); shown.ghost = null; } byId("map-say").textContent = `${nameOf(stop, at)}: ${placeOf(stop)}, ${stop.method || stop.kind}. Drag it, or arrow keys and Enter; Delete forbids it`; },
    () => hold(stop));
  button.setAttribute("aria-label", `stop ${nameOf(stop, at)}: ${stop.method || stop.kind}, ${placeOf(stop)}; arrow keys move it, Enter orders it there, Delete forbids it`);
  button.addEventListener("keydown", (event) => key(event, stop));
  button.addEventListener("blur", giveUp);
  return button;
}

function key(event, stop) {
  const step = event.shiftKey ? LONG_STEP_M : STEP_M, by = { ArrowRight: step, ArrowUp: step, ArrowLeft: -step, ArrowDown: -step }[event.key];
  if (by !== undefined) {
    event.preventDefault();
    if (shown.ghost) { shown.ghost.step(by); return; }
    const ghost = hold(stop), wait = () => { if (shown.ghost === ghost && ghost.asking) setTimeout(wait, 20); else if (shown.ghost === ghost) ghost.step(by); };
    wait();
  } else if (event.key === "Enter" && shown.ghost) { event.preventDefault(); letGo(); }
  else if (event.key === "Escape") giveUp();
  else if (event.key === "Delete" || event.key === "Backspace") {
    event.preventDefault();
    giveUp();
    byId("map-say").textContent = `no stop at ${stop.forbid}: forbidden`;
    changed((next) => { next.forbid.push(stop.forbid); next.force = next.force.filter((name) => name !== nameOfStop(stop)); });
  }
}

export function placeStops(map, over) {
  const emergency = state.mode === "emergency";
  // An answer that comes while a stop is held does not take it out of the hand.
  const stops = emergency ? [] : shown.ghost ? shown.stops : map.marks.stops;
  if (shown.stops !== stops && !(shown.stops && !stops.length && !shown.stops.length)) {
    const at = shown.buttons.indexOf(document.activeElement);
    for (const button of shown.buttons) button.remove();
    shown.stops = stops;
    shown.buttons = stops.map((stop, n) => made(stop, n, over));
    if (at >= 0 && shown.buttons[at]) shown.buttons[at].focus();
    else if (at >= 0) map.canvas.focus();
  }
  shown.buttons.forEach((button, n) => {
    const [px, py] = map.toScreen(stops[n].x, stops[n].y);
    button.style.left = `${px}px`;
    button.style.top = `${py}px`;
  });
}
