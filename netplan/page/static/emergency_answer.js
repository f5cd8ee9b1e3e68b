// An emergency answer as it is read: red lines first, rings, what was hit, who, log. All words come from the server.
import { ask, drawRing, hit, notFailed, valveFailed } from "/static/emergency.js";
import { byId, cell } from "/static/state.js";

function made(tag, words = "", name = "") {
  const one = document.createElement(tag);
  one.textContent = words;
  if (name) one.className = name;
  return one;
}

function strong([head, rest], into = made("li")) {
  if (head) into.append(made("b", head), rest ? ": " : "");
  into.append(rest);
  return into;
}

function button(words, heard, act) {
  const one = made("button", words);
  one.type = "button";
  one.setAttribute("aria-label", heard);
  one.addEventListener("click", act);
  return one;
}

function redLines(first, lines) {
  return lines.map((words) => { const item = made("li"); item.append(made("b", first), words); return item; });
}

function card(stop) {
  const more = made("details"), facts = made("table"), tape = made("ul");
  more.append(made("summary", "card"));
  for (const [name, value] of stop.facts) {
    const row = made("tr");
    cell(row, name, "th").scope = "row";
    cell(row, value);
    facts.append(row);
  }
  tape.replaceChildren(...stop.tape.map((line) => made("li", line)));
  more.append(facts, tape);
  return more;
}

function stopRow(stop) {
  const row = made("tr"), name = stop.stop[0], shut = document.createElement("input"), done = cell(row, "");
  if (stop.valve_id) row.dataset.valve = stop.valve_id;
  row.dataset.stop = name;
  row.replaceChildren();
  const head = cell(row, String(stop.n), "th");
  head.scope = "row";
  strong(stop.stop, cell(row, "")).append(card(stop));
  strong(stop.where, cell(row, ""));
  for (const words of [stop.crew, stop.minutes, stop.ends]) cell(row, words);
  shut.type = "checkbox";
  shut.checked = hit.shut.has(name);
  shut.setAttribute("aria-label", `${name} is shut`);
  const at = made("span", hit.shut.get(name) || "");
  shut.addEventListener("change", () => {
    if (shut.checked) hit.shut.set(name, new Date().toTimeString().slice(0, 5)); else hit.shut.delete(name);
    at.textContent = hit.shut.get(name) || "";
  });
  done.append(shut, " ", at);
  if (stop.valve_id) done.append(" ", button("failed", `valve ${stop.valve_id} failed to shut`, () => valveFailed(stop.valve_id)));
  row.append(done);
  return row;
}

function ringPart(rings, ring, isFirst) {
  const part = made("section"), table = made("table"), head = made("tr"), body = made("tbody"), top = made("thead");
  part.dataset.ring = ring.letter;
  part.setAttribute("aria-label", ring.heading);
  const shown = button("on the map", `show ring ${ring.letter} on the map`, () => { hit.ring = ring.letter; drawRing(); pressed(); });
  const pressed = () => byId("rings").querySelectorAll("[aria-pressed]").forEach((one) => one.setAttribute("aria-pressed", String(one.closest("section").dataset.ring === hit.ring)));
  shown.setAttribute("aria-pressed", String(hit.ring === ring.letter));
  const heading = made("h3", `${ring.heading} `);
  heading.append(shown);
  part.append(heading, made("p", ring.line, "figures"), made("p", ring.proof, "small"));
  if (ring.do_first.length && !isFirst) {
    const red = made("ul", "", "first");
    red.replaceChildren(...redLines(rings.first, ring.do_first));
    part.append(red);
  }
  if (ring.no_stop) { part.append(made("p", ring.no_stop, "strip")); return part; }
  for (const name of rings.columns) {
    const one = cell(head, name, "th");
    one.scope = "col";
    if (!name) one.append(made("span", "number", "heard"));
  }
  top.append(head);
  body.replaceChildren(...ring.stops.map(stopRow));
  table.append(made("caption", `stops of ring ${ring.letter}, in the order of shutting`), top, body);
  part.append(table);
  return part;
}

function hitMains(hits) {
  const rows = hits.rows.map((one) => {
    const item = strong(one.words);
    item.dataset.hit = one.id;
    if (hits.rows.length > 1) item.append(" ", button("this one", `it was ${one.words[0]}`, () => ask({ main: one.id, at_m: one.at_m }, true)));
    return item;
  });
  const services = hits.services.map((one) => {
    const item = made("li", one.words, "strip");
    item.append(" ", button("this one", `it was service ${one.id}`, () => ask({ main: one.id, at_m: 0 }, true)));
    return item;
  });
  const list = made("ul");
  list.replaceChildren(...rows, ...services);
  return [made("h2", hits.heading), list, ...(hits.all_shut ? [made("p", hits.all_shut, "strip")] : []), made("p", hits.keep_away, "figures")];
}

function listed({ heading, notes, lines }) {
  if (!lines.length && !notes.length) return [];
  const list = made("ul");
  list.replaceChildren(...lines.map((line) => strong(line)));
  return [made("h2", heading), ...notes.map((words) => made("p", words, "figures")), ...(lines.length ? [list] : [])];
}

function ready({ heading, rows }, first) {
  return rows.length ? [made("h2", heading), ...rows.flatMap((row) => {
    const more = made("details"), red = made("ul", "", "first"), list = made("ol");
    red.replaceChildren(...redLines(first, row.do_first));
    list.replaceChildren(...row.stops.map((words) => made("li", words)));
    more.append(made("summary", row.heading), made("p", row.line), ...(row.do_first.length ? [red] : []), list);
    return [more];
  })] : [];
}

export function showEmergency(answer) {
  const { rings } = answer, best = rings.rows[0];
  byId("hit").textContent = [answer.title, ...(best ? [`${best.heading}: ${best.line}`] : [])].join(". ");
  byId("do-first").replaceChildren(...redLines(rings.first, best ? best.do_first : []));
  byId("do-first").hidden = !best || !best.do_first.length;
  byId("failed").replaceChildren(...answer.failed.map((words) => {
    const strip = made("p", `${words} `, "strip");
    for (const valve of answer.failed_valves) strip.append(button(`${valve} shut after all`, `valve ${valve} shut after all`, () => notFailed(valve)), " ");
    return strip;
  }));
  byId("rings").replaceChildren(made("h2", rings.heading), ...rings.rows.map((ring, at) => ringPart(rings, ring, at === 0)), made("p", answer.no_gas_back, "strip"));
  byId("not-solved").textContent = answer.not_solved;
  byId("not-solved").hidden = !answer.not_solved;
  byId("hit-mains").replaceChildren(...hitMains(answer.hits));
  byId("emergency-lists").replaceChildren(...answer.lists.flatMap(listed), ...ready(answer.next_rings, rings.first));
  byId("log-heading").textContent = answer.log.heading;
  byId("log-heading").hidden = false;
  byId("emergency-log").replaceChildren(...answer.log.lines.map((words) => made("li", words)));
  byId("emergency-foot").textContent = `${answer.meta} ${answer.foot}`;
  if (!hit.crewsTyped) byId("hit-crews").value = answer.crews;
}
