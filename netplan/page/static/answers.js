// What the server answers, as it comes.
import { byId, state } from "/static/state.js";
import { refreshPinned } from "/static/pinned.js";
import { drawFigures } from "/static/figures.js";

export function hear(answer) {
  // The answer may be here before the server has said that it took the order.
  if (answer.revision < state.revision) return;
  state.revision = answer.revision;
  if (answer.stage === "progress") { if (answer.words) byId("state").textContent = answer.words; return; }
  state.done = answer.stage === "done";
  if (answer.stage === "failed" || answer.stage === "conflict") {
    byId("state").textContent = `${answer.stage === "conflict" ? "Orders against each other" : "No plan"}: ${answer.words}`;
    state.shown = [];
  }
  else if (answer.stage === "bound") { state.shown = [answer]; state.chosen = 0; state.work = answer.work; }
  else if (answer.options) { state.shown = answer.options; state.chosen = Math.min(state.chosen, answer.options.length - 1); }
  if (answer.stage === "done" && state.shown.length) byId("state").textContent = "all of it worked out";
  if (answer.stage === "replaced") { byId("state").textContent = answer.words; return; }
  state.stale = state.sending;
  const { dataset } = document.body, isSame = dataset.revision === String(answer.revision);
  dataset.stage = answer.stage;
  dataset.stages = isSame ? `${dataset.stages} ${answer.stage}` : answer.stage;
  state.shownRevision = answer.revision;
  dataset.revision = String(answer.revision);
  drawFigures();
  if (state.done) refreshPinned();
}
