/* The tally: one card a meter that goes off, in the order in which they are relit. */
const MOST_CARDS = 400;

class Tally {
  constructor(page) {
    this.page = page;
    at("find").addEventListener("input", () => this.filter());
  }

  build(option) {
    this.option = option;
    this.cards = option.meters.map((meter) => new MeterCard(this.page, meter));
    at("meters").replaceChildren(...this.cards.map((card) => card.element));
    this.filter();
  }

  filter() {
    const words = at("find").value.toLowerCase().split(/\s+/).filter(Boolean);
    let shown = 0;
    for (const card of this.cards || []) {
      const fits = words.every((word) => card.words.some((own) => own.startsWith(word)));
      shown += fits;
      card.element.hidden = !fits || shown > MOST_CARDS;
    }
  }

  refresh(day) {
    const tally = new Map(this.page.data.meter_states.map((state) => [state, 0]));
    let open = 0;
    for (const card of this.cards) {
      const state = day.meters.get(card.meter.id)?.state || "on";
      if (state === "on") open += card.meter.meters; else tally.set(state, tally.get(state) + card.meter.meters);
      card.refresh(day);
    }
    const all = this.cards.reduce((sum, card) => sum + card.meter.meters, 0);
    const parts = [...tally].filter(([, number]) => number).map(([state, number]) => `${number} ${state}`);
    const words = !all ? "No meter goes off by this option." : `${count(all, "meter")}: ${open ? `${open} still on` : "none on"}${parts.length ? `, ${parts.join(", ")}` : ""}. ${open ? "The tally does not close." : "The tally closes."}`;
    show(at("tally"), words);
  }
}

class MeterCard {
  constructor(page, meter) {
    Object.assign(this, { page, meter, words: `${meter.address} ${meter.id}`.toLowerCase().split(/[\s,]+/) });
    this.states = page.data.meter_states.map((state) => pressed(state, () => this.set(state), { "aria-pressed": "false" }));
    this.said = build("p", { class: "status", "aria-live": "polite" });
    this.seal = build("input", { type: "text", maxlength: "60" });
    this.isolated = build("input", { type: "text", maxlength: "120" });
    const title = [meter.address || meter.id, meter.meters > 1 ? ` (${meter.meters} meters)` : ""].join("");
    const facts = [meter.address ? meter.id : "", meter.priority ? "priority" : "", meter.tail ? "fed tail" : "", meter.off_from && `off from ${meter.off_from}`, meter.on_by && `on by ${meter.on_by}`].filter(Boolean).join(" · ");
    const form = build("form", { class: "seal", autocomplete: "off" }, build("label", {}, build("span", {}, "Seal number"), this.seal), build("label", {}, build("span", {}, "Isolation point"), this.isolated), build("button", { type: "submit" }, "Enter"));
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      this.page.add({ what: "seal", meter: meter.id, seal: this.seal.value.trim(), isolated_at: this.isolated.value.trim() });
    });
    this.element = build("li", { class: "meter" }, build("h3", {}, title), build("p", { class: "facts" }, facts), this.said, build("div", { class: "states", role: "group", "aria-label": `State of ${meter.address || meter.id}` }, ...this.states), form);
  }

  /* Pressed again, a state is taken back: the meter counts as on. */
  set(state) {
    const held = this.page.day.meters.get(this.meter.id)?.state;
    this.page.add({ what: "meter", meter: this.meter.id, state: held === state ? "on" : state });
  }

  refresh(day) {
    const entry = day.meters.get(this.meter.id), seal = day.seals.get(this.meter.id);
    this.page.data.meter_states.forEach((state, k) => this.states[k].setAttribute("aria-pressed", String(entry?.state === state)));
    const sealed = seal && [seal.seal && `seal ${seal.seal}`, seal.isolated_at && `isolated at ${seal.isolated_at}`].filter(Boolean).join(", ");
    show(this.said, [entry && `${entry.state} since ${clockOf(entry.at)}`, sealed].filter(Boolean).join("; "));
    if (seal && document.activeElement !== this.seal && document.activeElement !== this.isolated) {
      this.seal.value = seal.seal;
      this.isolated.value = seal.isolated_at;
    }
    this.element.dataset.state = entry?.state || "on";
  }
}
