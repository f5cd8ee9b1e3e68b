// Lists are drawn anew when an answer comes: who stands in one with the keyboard stays there.
const NAMED = ["options", "stops", "off", "kept", "work-rows", "order-list", "pinned", "note-list", "found", "rings", "hit-mains", "failed"];
// What had the focus, and where the Tab key was just taking it: leaving a field may be what draws its list anew.
let last = null, step = 0;

function nameOf(element) { return element.getAttribute("aria-label") || element.textContent.trim(); }

function focusable(list) { return [...list.querySelectorAll("button, input, select, [tabindex]")].filter((one) => !one.disabled); }

function remember(event) {
  const list = NAMED.map((id) => document.getElementById(id)).find((one) => one && one.contains(event.target));
  last = list ? { list, name: nameOf(event.target), at: focusable(list).indexOf(event.target) } : null;
  step = 0;
}

function restore(list) {
  // Focus that a list takes away with what it held falls back to the body.
  if (!last || last.list !== list || document.activeElement !== document.body) return;
  const all = focusable(list), { name, at } = last;
  const known = all.findIndex((one) => nameOf(one) === name), to = (known < 0 ? at : known) + step;
  const next = all[Math.min(Math.max(to, 0), all.length - 1)];
  if (next) next.focus();
}

export function beginKeepFocus() {
  document.addEventListener("focusin", remember);
  document.addEventListener("keydown", (event) => { step = event.key === "Tab" ? (event.shiftKey ? -1 : 1) : 0; }, true);
  // A click beside everything takes focus away on purpose.
  document.addEventListener("pointerdown", () => { last = null; });
  for (const id of NAMED) {
    const list = document.getElementById(id);
    if (list) new MutationObserver(() => restore(list)).observe(list, { childList: true, subtree: true });
  }
}
