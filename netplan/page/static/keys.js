// Keys: one letter each, outside fields; they stand in the help, and can be turned off there.
import { byId, state } from "/static/state.js";
import { showAll, showAnswer } from "/static/view_buttons.js";

const focus = (id) => () => byId(id).focus();
const press = (id) => () => { if (!byId(id).disabled) byId(id).click(); };
const KEYS = [
  ["Esc", "leave a field, so that letters are keys again", "", null],
  ["?", "this help", "both", press("help-open")],
  ["/", "find a street, main, valve or address", "plan", focus("search-text")],
  ["m", "to the map", "both", focus("map")],
  ["a", "show the answer on the map", "both", () => showAnswer()],
  ["n", "show the whole network", "both", () => showAll()],
  ["w", "to the work section", "plan", () => (byId("work-rows").querySelector("input") || byId("add-work")).focus()],
  ["r", "to the orders", "plan", focus("order-kind")],
  ["o", "to the options; arrow keys choose", "plan", () => byId("options").querySelector('[aria-selected="true"]')?.focus()],
  ["f", "to the figures", "plan", focus("figures-part")],
  ["s", "to the stops", "plan", () => byId("stops").querySelector("button")?.focus()],
  ["u", "undo", "plan", press("undo")],
  ["y", "redo", "plan", press("redo")],
  ["p", "pin this option", "plan", press("pin")],
  ["v", "to the name the plan is saved under", "plan", focus("save-name")],
  ["e", "emergency: a main was hit", "plan", press("emergency-open")],
  ["F", "the valve in focus, else the first not shut, failed to shut", "emergency", () => document.dispatchEvent(new Event("valve-failed"))],
];

function isField(element) {
  return element.matches("input:not([type=checkbox]), select, textarea, [contenteditable]");
}

function onKey(event) {
  const { key, target } = event;
  if (key === "Escape" && isField(target) && !byId("help").open) target.blur();
  if (event.defaultPrevented || event.ctrlKey || event.metaKey || event.altKey || isField(target) || byId("help").open || !byId("keys-on").checked) return;
  const known = KEYS.find(([name, , mode]) => name === key && (mode === "both" || mode === state.mode));
  if (!known) return;
  event.preventDefault();
  known[3]();
}

// Options are tabs: one of them is in the order of focus, arrow keys choose among them.
function onTabKey(event) {
  const tabs = [...byId("options").querySelectorAll('[role="tab"]')], at = tabs.indexOf(event.target);
  const to = { ArrowRight: at + 1, ArrowDown: at + 1, ArrowLeft: at - 1, ArrowUp: at - 1, Home: 0, End: tabs.length - 1 }[event.key];
  if (at < 0 || to === undefined) return;
  event.preventDefault();
  const next = tabs[(to + tabs.length) % tabs.length];
  next.focus();
  next.click();
}

function nameTabs() {
  byId("options").querySelectorAll('[role="tab"]').forEach((tab, at) => {
    tab.id = `option-${at + 1}`;
    tab.setAttribute("aria-controls", "figures");
    const chosen = tab.getAttribute("aria-selected") === "true";
    tab.tabIndex = chosen ? 0 : -1;
    if (chosen) byId("figures").setAttribute("aria-labelledby", tab.id);
  });
}

export function beginKeys() {
  document.addEventListener("keydown", onKey);
  byId("options").addEventListener("keydown", onTabKey);
  new MutationObserver(nameTabs).observe(byId("options"), { childList: true });
  byId("help-open").addEventListener("click", () => byId("help").showModal());
  byId("key-rows").replaceChildren(...KEYS.map(([key, words]) => {
    const row = document.createElement("tr"), head = document.createElement("th"), does = document.createElement("td"), shown = document.createElement("kbd");
    head.scope = "row";
    shown.textContent = key;
    head.append(shown);
    does.textContent = words;
    row.append(head, does);
    return row;
  }));
}
