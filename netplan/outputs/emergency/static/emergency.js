"use strict";
// Zoom and pan of the maps by their view boxes: buttons, a drag, two fingers.
for (const map of document.querySelectorAll(".map")) {
  const svg = map.querySelector("svg");
  const whole = svg.getAttribute("viewBox").split(" ").map(Number);
  let box = whole.slice();
  const held = new Map();
  const show = () => {
    svg.setAttribute("viewBox", box.map((value) => value.toFixed(3)).join(" "));
    map.classList.toggle("moved", box[2] < whole[2] - 0.01);
  };
  // From the whole map one goes nearer to the hit, later to the middle of what is seen.
  const hit = svg.querySelector(".hit");
  const spot = hit ? hit.parentNode.transform.baseVal.getItem(0).matrix : null;
  const middle = (axis) => (spot && !map.classList.contains("moved")
    ? [spot.e, spot.f][axis] : box[axis] + box[axis + 2] / 2);
  const zoom = (factor, x = middle(0), y = middle(1)) => {
    const width = Math.min(whole[2], Math.max(whole[2] / 40, box[2] * factor));
    const share = width / box[2];
    box = [x - (x - box[0]) * share, y - (y - box[1]) * share, width, box[3] * share];
    keep();
  };
  const keep = () => {
    for (const axis of [0, 1]) {
      const most = whole[axis] + whole[axis + 2] - box[axis + 2];
      box[axis] = Math.min(most, Math.max(whole[axis], box[axis]));
    }
    show();
  };
  const bar = document.createElement("div");
  bar.className = "zoom";
  const acts = [["+", "nearer", () => zoom(0.6)], ["−", "farther", () => zoom(1 / 0.6)],
    ["□", "whole map", () => { box = whole.slice(); show(); }]];
  for (const [sign, name, act] of acts) {
    const button = document.createElement("button");
    button.type = "button";
    button.textContent = sign;
    button.setAttribute("aria-label", name);
    button.addEventListener("click", act);
    bar.append(button);
  }
  map.append(bar);
  const scale = () => box[2] / svg.clientWidth;
  svg.addEventListener("pointerdown", (event) => held.set(event.pointerId, event));
  for (const over of ["pointerup", "pointercancel", "pointerleave"]) {
    svg.addEventListener(over, (event) => held.delete(event.pointerId));
  }
  svg.addEventListener("pointermove", (event) => {
    const before = held.get(event.pointerId);
    if (!before || !map.classList.contains("moved")) return;
    const others = [...held.values()].filter((one) => one.pointerId !== event.pointerId);
    if (others.length === 1) {
      const other = others[0];
      const gap = (one) => Math.hypot(one.clientX - other.clientX, one.clientY - other.clientY);
      if (gap(event) > 1) zoom(gap(before) / gap(event));
    } else {
      box[0] -= (event.clientX - before.clientX) * scale();
      box[1] -= (event.clientY - before.clientY) * scale();
      keep();
    }
    held.set(event.pointerId, event);
  });
}
