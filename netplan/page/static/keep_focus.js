// Lists are drawn anew when an answer comes: who stands in one with the keyboard stays there.
const NAMED = ["options", "stops", "off", "kept", "work-rows", "order-list", "pinned", "note-list", "found", "rings", "hit-mains", "failed"];
let last = null;

function nameOf(element) { return element.getAttribute("aria-label") || element.textContent.trim(); }

function focusable(list) { return [...list.querySelectorAll("button, input, select, [tabindex]")].filter((one) => !one.disabled); }

function remember(event) {
  const list = NAMED.map((id) => document.getElementById(id)).find((one) => one && one.contains(event.target));
  last = list ? { list, name: nameOf(event.target), at: focusable(list).indexOf(event.target) } : null;
}

function restore(list) {
  // Focus that a list takes away with what it held falls back to the body.
  if (!last || last.list !== list || document.activeElement !== document.body) return;
  const all = focusable(list), { name, at } = last;
  const next = all.find((one) => nameOf(one) === name) || all[Math.min(Math.max(at, 0), all.length - 1)];
  if (next) next.focus();
}

export function beginKeepFocus() {
  document.addEventListener("focusin", remember);
  // A click beside everything takes focus away on purpose.
  document.addEventListener("pointerdown", () => { last = null; });
  for (const id of NAMED) {
    const list = document.getElementById(id);
    if (list) new MutationObserver(() => restore(list)).observe(list, { childList: true, subtree: true });
  }
}
