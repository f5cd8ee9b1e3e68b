/* The loss sheet: what to do when something fails, by the state of the work. */
const WORK_STATES = ["before the cut", "main cut", "gas back in"];

class FailureSheet {
  constructor(page) {
    this.page = page;
    at("failure").addEventListener("click", () => this.show());
    at("close-failures").addEventListener("click", () => at("failures").close());
  }

  show() {
    const option = this.page.option, guessed = stateOfWork(option, this.page.day);
    const states = WORK_STATES.filter((state) => option.losses.some((row) => row.state === state));
    const chosen = states.includes(guessed) ? guessed : states[0];
    const buttons = states.map((state) => pressed(state, () => this.rows(option, state, buttons), { "data-state": state }));
    at("failure-states").replaceChildren(...buttons);
    if (chosen) this.rows(option, chosen, buttons);
    else at("failure-rows").replaceChildren(build("p", { class: "notice" }, "This plan holds no loss sheet: use the pages on failures of the paper work pack."));
    if (!at("failures").open) at("failures").showModal();
    at("failures").scrollTop = 0;
  }

  rows(option, state, buttons) {
    buttons.forEach((button) => button.setAttribute("aria-pressed", String(button.dataset.state === state)));
    at("failure-rows").replaceChildren(...option.losses.filter((row) => row.state === state).map((row) => this.row(option, row)));
  }

  row(option, row) {
    const where = [row.place, row.who].filter(Boolean).join(" · ");
    const after = [
      row.meters ? `${count(row.meters, "meter")} below minimum${row.seconds ? ` after ${row.seconds} s` : ", at once"}` : row.solved ? "no kept meter falls below minimum" : "",
      row.least && `least kept inlet ${row.least}`, row.barrier && `on the barrier left ${row.barrier}`, row.flow && `escape about ${row.flow}`, row.minutes && `action takes ${row.minutes} min`, row.solved ? "" : row.meters ? "pressures not solved: everybody in the parts concerned is counted" : "no pressures solved",
    ].filter(Boolean).join(" · ");
    const again = row.feeds_again?.length ? `${row.feeds_again.join(", ")}: open again only once the doors below are isolated` : "";
    return build("article", { class: "loss" }, build("h3", {}, row.what), row.leave ? build("p", { class: "leave" }, "Leave first.") : null,
      build("p", { class: "act" }, row.action), where ? build("p", { class: "where" }, where) : null, row.act_on?.length ? build("p", { class: "where" }, `Shut or use, in this order: ${row.act_on.join(", ")}`) : null,
      build("p", {}, after), again ? build("p", { class: "where" }, again) : null, this.doors(row), row.note ? build("p", { class: "hint" }, row.note) : null);
  }

  /* The doors that follow, listed when they are asked for. */
  doors(row) {
    if (!row.doors) return null;
    const ids = [];
    for (let k = 0; k < row.doors.length; k += 2) for (let place = row.doors[k]; place <= row.doors[k + 1]; place += 1) ids.push(place);
    const list = build("ul", {}), rows = ids.map((place) => { const [id, address] = this.page.data.doors[place]; return [address, id].filter(Boolean).join(", "); });
    const box = build("details", {}, build("summary", {}, `Doors: ${ids.length}${row.meters_first ? ", meters shut before gas comes back" : ""}`), list);
    box.addEventListener("toggle", () => { if (!list.childElementCount) list.append(...rows.sort(byNumbers).map((words) => build("li", {}, words))); });
    return box;
  }
}

const byNumbers = new Intl.Collator("en", { numeric: true }).compare;
