// The page begins: let in, facts of the network, the map, what was ordered before, the stream of answers.
import { hear } from "/static/answers.js";
import { beginEmergency } from "/static/emergency.js";
import { beginFigures } from "/static/figures.js";
import { beginFinding } from "/static/finding.js";
import { NetworkMap } from "/static/map.js";
import { beginMap } from "/static/map_tools.js";
import { beginOrders, drawOrders } from "/static/orders.js";
import { beginSaving } from "/static/saving.js";
import { byId, letIn, state } from "/static/state.js";

async function begin() {
  state.csrf = await letIn();
  const facts = await (await fetch("/network")).json();
  state.map = new NetworkMap(byId("map"), facts);
  beginMap(state.map);
  const kept = await (await fetch("/orders")).json();
  state.orders = kept.orders;
  state.revision = kept.revision;
  drawOrders();
  const stream = new EventSource("/answers");
  stream.addEventListener("answer", (event) => hear(JSON.parse(event.data)));
  for (const start of [beginOrders, beginFigures, beginFinding, beginSaving, beginEmergency]) start();
  document.body.dataset.ready = "yes";
}

begin().catch((error) => { byId("state").textContent = String(error.message); });
