// Saving the plan as its folder, with the command line that makes the same.
import { byId, write } from "/static/state.js";

export function beginSaving() {
  byId("save").addEventListener("submit", async (event) => {
    event.preventDefault();
    byId("saved").textContent = "saving";
    try {
      const saved = await write("/plans", { name: byId("save-name").value.trim() });
      byId("saved").textContent = `${saved.folder}; the same by: ${saved.command}`;
    } catch (error) { byId("saved").textContent = String(error.message); }
  });
}
