// Who keeps gas by a bypass, a hose or an opened valve.
import { byId, cell } from "/static/state.js";

export function drawKept(option) {
  const kept = (option && option.kept) || [];
  byId("kept-part").hidden = !kept.length;
  byId("kept").querySelector("tbody").replaceChildren(...kept.map(([, , name, address]) => {
    const row = document.createElement("tr");
    cell(row, name, "th").scope = "row";
    cell(row, address);
    return row;
  }));
}
