// Up to three options pinned: laid over each other on the map, one of them compared with.
import { byId, state, write } from "/static/state.js";
import { drawFigures } from "/static/figures.js";

const pins = { all: [], against: 0 };

export function pinnedToCompare() { return pins.all[pins.against] || null; }

export function pinnedMarks() { return pins.all.map(({ stops, zone, off }, at) => ({ number: at + 1, stops, zone, off })); }

export function takePinned(all) {
  pins.all = all;
  pins.against = Math.min(pins.against, Math.max(all.length - 1, 0));
}

function button(words, label, press) {
  const made = document.createElement("button");
  made.type = "button";
  made.textContent = words;
  made.setAttribute("aria-label", label);
  made.addEventListener("click", press);
  return made;
}

export function drawPinned(option) {
  byId("pin").disabled = !option || !option.rank || state.stale || pins.all.length >= 3;
  byId("pinned").replaceChildren(...pins.all.map((one, at) => {
    const item = document.createElement("li"), name = document.createElement("span");
    name.textContent = `pinned ${at + 1}: ${one.name}`;
    const compare = button("compare with", `compare with pinned ${at + 1}`, () => { pins.against = at; drawFigures(); });
    compare.setAttribute("aria-pressed", String(at === pins.against));
    item.append(name, " ", compare, " ", button("unpin", `unpin ${at + 1}`, () => send("/pins/drop", { at })));
    return item;
  }));
}

async function send(path, body) {
  try { takePinned((await write(path, body)).pinned); drawFigures(); }
  catch (error) { byId("state").textContent = String(error.message); }
}

export async function refreshPinned() {
  // What is pinned of the orders just worked out has all of its figures now.
  if (!pins.all.length) return;
  takePinned((await (await fetch("/notes")).json()).pinned);
  drawFigures();
}

export function beginPinned() {
  byId("pin").addEventListener("click", () => {
    const option = state.shown[state.chosen];
    if (option) send("/pins", { rank: option.rank });
  });
}
