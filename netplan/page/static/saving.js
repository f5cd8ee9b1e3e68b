// Saving the plan as its folder, with the command line that makes the same; sessions saved and opened by name.
import { byId, state, write } from "/static/state.js";
import { drawFigures } from "/static/figures.js";
import { takeNotes } from "/static/notes.js";
import { takeOrders } from "/static/orders.js";
import { takePinned } from "/static/pinned.js";

async function savePlan() {
  byId("saved").textContent = "saving";
  try {
    const saved = await write("/plans", { name: byId("save-name").value.trim() });
    byId("saved").textContent = [saved.folder, ...saved.said, `the same from a terminal: ${saved.command}`].join("; ");
  } catch (error) { byId("saved").textContent = String(error.message); }
}

async function listSessions() {
  const names = await (await fetch("/session-files")).json(), list = byId("session-names");
  list.replaceChildren(...names.map((name) => {
    const choice = document.createElement("option");
    choice.value = name;
    return choice;
  }));
}

async function saveSession() {
  try {
    byId("session-said").textContent = (await write("/session-file/save", { name: byId("session-name").value.trim() })).file;
    await listSessions();
  } catch (error) { byId("session-said").textContent = String(error.message); }
}

async function openSession() {
  try {
    const opened = await write("/session-file/open", { name: byId("session-name").value.trim() });
    takeNotes(opened.notes);
    takePinned(opened.pinned);
    takeOrders(opened.orders, opened.revision);
    byId("session-said").textContent = opened.changes.length ? "opened; what changed since:" : "opened; network and rules are the same";
    byId("session-changes").replaceChildren(...opened.changes.map((line) => {
      const item = document.createElement("li");
      item.textContent = line;
      return item;
    }));
    state.stale = state.shownRevision !== state.revision;
    drawFigures();
  } catch (error) { byId("session-said").textContent = String(error.message); }
}

export function beginSaving() {
  byId("save").addEventListener("submit", (event) => { event.preventDefault(); savePlan(); });
  byId("session").addEventListener("submit", (event) => { event.preventDefault(); saveSession(); });
  byId("session-open").addEventListener("click", openSession);
  listSessions();
}
