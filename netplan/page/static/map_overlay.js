// What can be taken hold of on the map: real buttons over the canvas, so that Tab reaches them.
import { byId } from "/static/state.js";

export class MapOverlay {
  constructor(map) {
    this.map = map;
    this.root = document.createElement("div");
    this.root.id = "map-overlay";
    byId("map").after(this.root);
    this.forget = () => {};
  }

  // A button that is dragged: each handler is told where the pointer is on the map.
  button(name, onMove, onEnd, onCancel = () => {}, onBegin = () => {}) {
    const made = document.createElement("button");
    made.type = "button";
    made.className = name;
    let held = null;
    const at = (event) => { const box = this.root.getBoundingClientRect(); return [event.clientX - box.left, event.clientY - box.top]; };
    made.addEventListener("pointerdown", (event) => {
      made.setPointerCapture(event.pointerId);
      held = { from: at(event), moved: false };
      onBegin(...held.from);
    });
    made.addEventListener("pointermove", (event) => {
      if (!held) return;
      const [px, py] = at(event);
      if (Math.hypot(px - held.from[0], py - held.from[1]) > 3) held.moved = true;
      if (held.moved) onMove(px, py);
    });
    made.addEventListener("pointerup", (event) => { const was = held; held = null; if (was && was.moved) onEnd(...at(event)); else if (was) onCancel(); });
    made.addEventListener("pointercancel", () => { held = null; onCancel(); });
    made.addEventListener("wheel", (event) => { event.preventDefault(); this.map.zoomBy(event.deltaY > 0 ? 1.25 : 0.8, ...at(event)); }, { passive: false });
    this.root.append(made);
    return made;
  }
}
