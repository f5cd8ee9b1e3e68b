// What the page knows, and how it speaks with its server. Text from data is never markup.
export const byId = (id) => document.getElementById(id);
export const state = {
  csrf: "", revision: 0, orders: empty(), before: [], undone: [], shown: [], chosen: 0, done: false, stale: true, sending: false,
  shownRevision: 0, work: [], ghost: null, map: null, mode: "plan",
};

function empty() {
  return { work: [], force: [], forbid: [], keep_out: [], keep_on: [], own_supply: [], max_stops: 0, options: 0, no_bypass: false, start: "", hours: null, air_temp_c: null };
}

export function cell(row, text, tag = "td") {
  const made = document.createElement(tag);
  made.textContent = text;
  row.append(made);
  return made;
}

export async function letIn() {
  // The token is good once; what it gives is kept for this address alone, so that the page can be opened again.
  const token = location.hash.slice(1);
  if (token.length > 30) {
    const answer = await fetch("/session", { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify({ token }) });
    history.replaceState(null, "", "/");
    if (answer.ok) localStorage.setItem("csrf", (await answer.json()).csrf);
  }
  const csrf = localStorage.getItem("csrf") || "";
  const answer = await fetch("/session", { headers: { "x-netplan-page": csrf } });
  if (!answer.ok) throw new Error(await answer.text());
  return csrf;
}

export async function write(path, body) {
  const answer = await fetch(path, { method: "POST", headers: { "content-type": "application/json", "x-netplan-page": state.csrf }, body: JSON.stringify(body) });
  if (!answer.ok) throw new Error(await answer.text());
  return answer.json();
}
