// What changes on the page is said once it has stood still: progress that runs through is not read out.
import { byId } from "/static/state.js";

const QUIET_MS = 900, HEARD = ["state", "map-say", "saved", "session-said", "note-said", "found", "hit", "not-solved", "emergency-saved"];

export function say(words) {
  const place = byId("announce");
  // The same words twice are said twice only when they are new to the page.
  place.textContent = "";
  requestAnimationFrame(() => { place.textContent = words; });
}

function wordsOf(id) {
  const place = byId(id);
  if (id !== "found") return place.textContent.trim();
  return place.children.length ? `${place.children.length} found` : place.textContent.trim();
}

export function beginAnnouncing() {
  const waits = new Map(), said = new Map();
  for (const id of HEARD) {
    new MutationObserver(() => {
      clearTimeout(waits.get(id));
      waits.set(id, setTimeout(() => {
        const words = wordsOf(id);
        if (words && words !== said.get(id)) say(words);
        said.set(id, words);
      }, QUIET_MS));
    }).observe(byId(id), { childList: true, characterData: true, subtree: true });
  }
}
