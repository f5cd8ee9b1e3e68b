// A meter point on the map: keep it on, or say that it has a supply of its own.
import { byId, state } from "/static/state.js";
import { changed } from "/static/orders.js";

let menu = null;

export function closeMenu(back = true) {
  if (!menu) return;
  menu.remove();
  menu = null;
  if (back) byId("map").focus();
}

export function customerMenu(one, px, py) {
  closeMenu(false);
  menu = document.createElement("div");
  menu.id = "customer-menu";
  menu.setAttribute("role", "dialog");
  menu.setAttribute("aria-label", `Meter point ${one.id}`);
  const words = document.createElement("p");
  words.textContent = [one.address, one.id, one.meters > 1 ? `${one.meters} meters` : "", one.priority ? `priority: ${one.priority}` : one.category].filter(Boolean).join(", ");
  menu.append(words);
  for (const [kind, text] of [["keep_on", "keep on"], ["own_supply", "own supply"]]) {
    const is = state.orders[kind].includes(one.id);
    add(is ? `take back: ${text}` : text, () => changed((next) => { next[kind] = is ? next[kind].filter((name) => name !== one.id) : [...next[kind], one.id]; }));
  }
  add("close", () => {});
  menu.addEventListener("keydown", (event) => { if (event.key === "Escape") closeMenu(); });
  menu.style.left = `${Math.min(px + 8, Math.max(0, state.map.width - 230))}px`;
  menu.style.top = `${Math.min(py + 8, Math.max(0, state.map.height - 130))}px`;
  byId("map-overlay").after(menu);
  menu.querySelector("button").focus();
}

function add(text, then) {
  const button = document.createElement("button");
  button.type = "button";
  button.textContent = text;
  button.addEventListener("click", () => { closeMenu(); then(); });
  menu.append(button);
}
