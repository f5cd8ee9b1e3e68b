// A note for each option and each stop, kept with the session. Text is never markup.
import { byId, state, write } from "/static/state.js";
import { drawFigures } from "/static/figures.js";
import { takePinned } from "/static/pinned.js";

const kept = { notes: [] };

const placeOf = (stop) => stop.valve_id || `${stop.main_id}:${stop.chainage_m}`;
const placeOfOption = (option) => option.stops.map(placeOf).sort().join(" + ");

export function takeNotes(notes) { kept.notes = notes; }

export function drawNotes(option) {
  const about = byId("note-about"), was = about.value, has = Boolean(option && option.rank);
  byId("note-write").disabled = !has;
  about.replaceChildren();
  const choices = has ? [["option", placeOfOption(option), `option ${option.rank}`], ...option.stops.map((stop) => ["stop", placeOf(stop), `stop ${stop.id}, ${placeOf(stop)}`])] : [];
  for (const [kind, place, words] of choices) {
    const choice = document.createElement("option");
    choice.value = JSON.stringify([kind, place]);
    choice.textContent = words;
    about.append(choice);
  }
  if ([...about.options].some((choice) => choice.value === was)) about.value = was;
  const here = new Map(choices.map(([kind, place, words]) => [JSON.stringify([kind, place]), words]));
  byId("note-list").replaceChildren(...kept.notes.map((note, at) => {
    const item = document.createElement("li"), drop = document.createElement("button");
    const of = here.get(JSON.stringify([note.about, note.place])) || `${note.about} ${note.place}, not in what is shown`;
    item.textContent = `${of}: ${note.text} (${note.written.slice(0, 16).replace("T", " ")}) `;
    drop.type = "button";
    drop.textContent = "remove";
    drop.setAttribute("aria-label", `remove note ${at + 1}`);
    drop.addEventListener("click", () => send("/notes/drop", { at }));
    item.append(drop);
    return item;
  }));
}

async function send(path, body) {
  try { takeNotes((await write(path, body)).notes); byId("note-said").textContent = ""; }
  catch (error) { byId("note-said").textContent = String(error.message); return false; }
  drawFigures();
  return true;
}

export async function beginNotes() {
  byId("notes").addEventListener("submit", async (event) => {
    event.preventDefault();
    const text = byId("note-text").value.trim();
    if (!text || !byId("note-about").value) return;
    const [about, place] = JSON.parse(byId("note-about").value);
    if (await send("/notes", { about, place, text })) byId("note-text").value = "";
  });
  const shown = await (await fetch("/notes")).json();
  takeNotes(shown.notes);
  takePinned(shown.pinned);
  drawFigures();
}
