/* The search: mains, valves and meter points by id, street and address. Every word typed must stand somewhere in
   kind, id or words. What is searched is read when somebody first looks for something. */
const MOST_FOUND = 12;

function searchThing(kind, id, words, place) { return { kind, id, words, at: place, text: `${kind} ${id} ${words}`.toLowerCase() }; }

function searchThings(index) {
  const things = [];
  for (const [kind, part] of Object.entries(index)) {
    let [lat, lon] = [0, 0];
    part.ids.forEach((id, k) => {
      lat += part.at[2 * k];
      lon += part.at[2 * k + 1];
      things.push(searchThing(kind, id, part.words[part.of[k]], [lat / 1e6, lon / 1e6]));
    });
  }
  return things;
}

/* What fits best comes first: the id itself, then whole words, then beginnings, then the rest. */
function foundBy(things, typed) {
  const text = typed.trim().toLowerCase();
  const words = text.split(/\s+/).filter(Boolean);
  if (!words.length) return [];
  const found = [[], [], [], []];
  for (const thing of things) {
    if (!words.every((word) => thing.text.includes(word))) continue;
    const whole = ` ${thing.text.replace(/[^\p{L}\p{N}]+/gu, " ")} `;
    const fit = thing.id.toLowerCase() === text ? 0 : words.every((word) => whole.includes(` ${word} `)) ? 1 : words.every((word) => whole.includes(` ${word}`)) ? 2 : 3;
    if (found[fit].length < MOST_FOUND) found[fit].push(thing);
  }
  return found.flat().slice(0, MOST_FOUND);
}

/* `choose` is called with a thing; arrow keys lead through what is found, Enter takes one, Escape clears. */
function startSearch(map, choose, read = () => searchThings(JSON.parse(at("search-data").textContent))) {
  const [input, list] = [at("search"), at("found")];
  const ring = L.circleMarker([0, 0], { radius: 20, color: INK, weight: 3, fill: false, interactive: false });
  let things = null, hits = [], active = -1;
  for (const [name, value] of Object.entries({ role: "combobox", "aria-expanded": "false", "aria-controls": "found", "aria-autocomplete": "list" })) input.setAttribute(name, value);
  const light = (next) => {
    active = next;
    [...list.children].forEach((row, k) => row.setAttribute("aria-selected", String(k === active)));
    if (active >= 0) { input.setAttribute("aria-activedescendant", `found-${active}`); list.children[active].scrollIntoView({ block: "nearest" }); }
    else input.removeAttribute("aria-activedescendant");
  };
  const close = () => { hits = []; list.replaceChildren(); list.hidden = true; input.setAttribute("aria-expanded", "false"); at("found-none").textContent = ""; light(-1); };
  const take = (thing) => {
    close();
    if (thing.at) ring.setLatLng(thing.at).addTo(map);
    choose(thing);
  };
  input.addEventListener("input", () => {
    things = things || read();
    const found = foundBy(things, input.value);
    close();
    hits = found;
    if (!input.value.trim()) ring.remove();
    else if (!hits.length) at("found-none").textContent = "nothing of that name on this map";
    list.replaceChildren(...hits.map((thing, k) => {
      const row = build("li", { role: "option", id: `found-${k}`, "aria-selected": "false" }, build("span", {}, thing.kind === "Meter point" ? thing.words || thing.id : `${thing.kind} ${thing.id}`),
        build("small", {}, thing.kind === "Meter point" ? thing.id : thing.words));
      row.addEventListener("click", () => take(thing));
      return row;
    }));
    list.hidden = !hits.length;
    input.setAttribute("aria-expanded", String(hits.length > 0));
  });
  input.addEventListener("keydown", (event) => {
    if (event.key === "ArrowDown" && hits.length) light((active + 1) % hits.length);
    else if (event.key === "ArrowUp" && hits.length) light(active <= 0 ? hits.length - 1 : active - 1);
    else if (event.key === "Enter" && hits.length) take(hits[Math.max(active, 0)]);
    else if (event.key === "Escape" && (hits.length || input.value)) { input.value = ""; close(); ring.remove(); }
    else return;
    event.preventDefault();
  });
  close();
}
