// The page begins: let in, facts of the network, the map, what was ordered before, the stream of answers.
import { beginAnnouncing } from "/static/announcing.js";
import { hear } from "/static/answers.js";
import { beginEmergency } from "/static/emergency.js";
import { beginFinding } from "/static/finding.js";
import { beginKeepFocus } from "/static/keep_focus.js";
import { beginKeys } from "/static/keys.js";
import { NetworkMap } from "/static/map.js";
import { beginMap } from "/static/map_tools.js";
import { beginNotes } from "/static/notes.js";
import { beginOrders, drawOrders } from "/static/orders.js";
import { beginPinned } from "/static/pinned.js";
import { beginSaving } from "/static/saving.js";
import { byId, letIn, state } from "/static/state.js";
import { beginViewButtons } from "/static/view_buttons.js";

const STARTS = [beginOrders, beginPinned, beginNotes, beginFinding, beginSaving, beginEmergency, beginKeepFocus, beginAnnouncing, beginViewButtons, beginKeys];

async function begin() {
  state.csrf = await letIn();
  const facts = await (await fetch("/network")).json();
  byId("network-name").textContent = `${facts.source}: ${facts.mains} mains, ${facts.customers} meter points`;
  state.map = new NetworkMap(byId("map"), facts);
  beginMap(state.map);
  const kept = await (await fetch("/orders")).json();
  state.orders = kept.orders;
  state.revision = kept.revision;
  drawOrders();
  const stream = new EventSource("/answers");
  stream.addEventListener("answer", (event) => hear(JSON.parse(event.data)));
  for (const start of STARTS) start();
  document.body.dataset.ready = "yes";
}

begin().catch((error) => { byId("state").textContent = String(error.message); });
