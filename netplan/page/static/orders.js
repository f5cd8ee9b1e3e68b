// What is ordered: sent one revision at a time, listed, taken back, undone.
import { byId, cell, state, write } from "/static/state.js";
import { drawFigures } from "/static/figures.js";

export async function order(next, remember = true) {
  if (remember) { state.before.push(JSON.stringify(state.orders)); state.undone = []; }
  state.orders = next;
  state.stale = true;
  drawOrders();
  drawFigures();
  if (state.sending) return;
  // One at a time, and only the newest: what was ordered meanwhile goes out when the one before has arrived.
  state.sending = true;
  let sent = null;
  while (sent !== state.orders) {
    sent = state.orders;
    try {
      const taken = await write("/orders", sent);
      state.revision = Math.max(state.revision, taken.revision);
      byId("state").textContent = sent.work.length ? "working it out" : "Point at a main.";
    } catch (error) {
      byId("state").textContent = String(error.message);
    }
  }
  state.sending = false;
  state.stale = state.shownRevision !== state.revision;
  drawFigures();
}

export function takeOrders(orders, revision) {
  // Orders that the server has already: those of a session that was opened.
  state.before.push(JSON.stringify(state.orders));
  state.undone = [];
  state.orders = orders;
  state.revision = Math.max(state.revision, revision);
  drawOrders();
}

function back(from, to) {
  if (!from.length) return;
  to.push(JSON.stringify(state.orders));
  order(JSON.parse(from.pop()), false);
}

export function changed(change) {
  const next = structuredClone(state.orders);
  change(next);
  return order(next);
}

export function drawOrders() {
  const rows = byId("work-rows");
  rows.replaceChildren();
  state.orders.work.forEach((work, at) => {
    const row = document.createElement("tr");
    for (const key of ["main_id", "from_m", "to_m"]) {
      const field = document.createElement("input");
      field.value = work[key];
      field.setAttribute("aria-label", `${key === "main_id" ? "main" : key === "from_m" ? "from" : "to"} of length ${at + 1}`);
      field.addEventListener("change", () => changed((next) => { next.work[at][key] = key === "main_id" ? field.value.trim() : Number(field.value); }));
      cell(row, "").append(field);
    }
    const away = document.createElement("button");
    away.type = "button";
    away.textContent = "remove";
    away.addEventListener("click", () => changed((next) => { next.work.splice(at, 1); }));
    cell(row, "").append(away);
    rows.append(row);
  });
  const list = byId("order-list");
  list.replaceChildren();
  for (const [kind, words] of [["force", "a stop at"], ["forbid", "no stop at"], ["keep_on", "stays on:"], ["own_supply", "own supply:"]])
    state.orders[kind].forEach((name, at) => {
      const item = document.createElement("li");
      item.textContent = `${words} ${name} `;
      const away = document.createElement("button");
      away.type = "button";
      away.textContent = "take back";
      away.addEventListener("click", () => changed((next) => { next[kind].splice(at, 1); }));
      item.append(away);
      list.append(item);
    });
  drawDrawnAreas(list);
  byId("undo").disabled = !state.before.length;
  byId("redo").disabled = !state.undone.length;
}

// Drawn areas: keep-out polygons, by number as the map names them.
function drawDrawnAreas(list) {
  state.orders.keep_out.forEach((ring, at) => {
    const item = document.createElement("li"), away = document.createElement("button");
    item.textContent = `no stop in keep-out area ${at + 1} (${ring.length} corners) `;
    away.type = "button";
    away.textContent = "take back";
    away.setAttribute("aria-label", `take back keep-out area ${at + 1}`);
    away.addEventListener("click", () => changed((next) => { next.keep_out.splice(at, 1); }));
    item.append(away);
    list.append(item);
  });
}

export function beginOrders() {
  byId("undo").addEventListener("click", () => back(state.before, state.undone));
  byId("redo").addEventListener("click", () => back(state.undone, state.before));
  byId("add-work").addEventListener("click", () => { state.orders.work.push({ main_id: "", from_m: 0, to_m: 1 }); drawOrders(); });
  byId("orders").addEventListener("submit", (event) => {
    event.preventDefault();
    const name = byId("order-name").value.trim(), kind = byId("order-kind").value;
    if (name) changed((next) => { next[kind].push(name); });
    byId("order-name").value = "";
  });
  byId("work").addEventListener("submit", (event) => event.preventDefault());
}
