// Streets, mains, valves and addresses by name.
import { byId, state } from "/static/state.js";
import { point, streetAsWork } from "/static/pointing.js";

async function find(text) {
  const list = byId("found"), rows = await (await fetch(`/search?text=${encodeURIComponent(text)}`)).json();
  list.replaceChildren();
  for (const row of rows) {
    const item = document.createElement("li"), go = document.createElement("button");
    go.type = "button";
    go.textContent = `${row.kind} ${row.id}, ${row.where}`;
    go.addEventListener("click", () => {
      state.map.show(row.x, row.y, 0.4);
      if (row.kind === "main") point(row.x, row.y, 5);
    });
    item.append(go);
    if (row.kind === "street") {
      const whole = document.createElement("button");
      whole.type = "button";
      whole.textContent = "whole street as the work";
      whole.setAttribute("aria-label", `whole street as the work: ${row.id}`);
      whole.addEventListener("click", () => streetAsWork(row.id));
      item.append(" ", whole);
    }
    list.append(item);
  }
  if (!rows.length) list.textContent = "nothing of that name";
}

export function beginFinding() {
  byId("search").addEventListener("submit", (event) => { event.preventDefault(); find(byId("search-text").value); });
}
