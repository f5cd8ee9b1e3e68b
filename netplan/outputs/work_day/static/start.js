/* The page as a whole: option, views, the line at the top, and the clock. */
const REFRESH_MS = 15000;

class Page {
  constructor(data) {
    this.data = data;
    this.log = new DayLog(data, at("barred"));
    this.cards = new StepCards(this);
    this.tally = new Tally(this);
    this.failures = new FailureSheet(this);
    this.files = new LogFiles(this);
    document.title = `Work day ${data.work}`;
    at("heading").textContent = data.work;
    at("caution").textContent = data.caution;
    at("air-unit").textContent = data.units.temperature;
    at("option").append(...data.options.map((option) => build("option", { value: option.rank }, `${option.rank}: ${option.words}`)));
    at("option").addEventListener("change", () => this.choose(Number(at("option").value)));
    at("air").addEventListener("submit", (event) => { event.preventDefault(); this.typeAir(); });
    at("note").addEventListener("submit", (event) => { event.preventDefault(); this.typeNote(); });
    at("next").addEventListener("click", () => { this.view("steps"); const step = nextStep(this.option, this.day); if (step) this.cards.go(step.n); });
    at("go-air").addEventListener("click", () => { this.view("steps"); this.clearTop(); at("air").scrollIntoView({ block: "start" }); at("air-temp").focus({ preventScroll: true }); });
    for (const button of document.querySelectorAll("#bar [data-view]")) button.addEventListener("click", () => { this.view(button.dataset.view); window.scrollTo(0, 0); });
    at("ask-no").addEventListener("click", () => at("ask").close());
    at("ask-yes").addEventListener("click", () => { at("ask").close(); this.confirmed(); this.refresh(); });
    at("theme").addEventListener("click", () => { this.log.kept.theme = { "": "light", light: "dark", dark: "" }[this.log.kept.theme]; this.log.save(); this.theme(); });
    window.addEventListener("storage", (event) => { if (event.key === this.log.key) { this.log.read(); this.refresh(); } });
    document.addEventListener("visibilitychange", () => this.refresh());
    this.theme();
    for (const id of ["top", "app", "bar"]) at(id).hidden = false;
    this.choose(this.log.kept.option);
    this.view("steps");
    setInterval(() => this.refresh(), REFRESH_MS);
  }

  choose(rank) {
    this.log.kept.option = rank;
    this.log.save();
    this.option = this.data.options.find((option) => option.rank === rank);
    at("option").value = String(rank);
    at("option-words").textContent = `option ${rank}, revision ${this.data.revision}`;
    const others = this.option.warnings.map((line) => build("li", {}, line));
    at("warnings").replaceChildren(...(others.length ? [build("details", { class: "notice" }, build("summary", {}, count(others.length, "warning")), build("ul", {}, ...others))] : []));
    this.cards.build(this.option);
    this.tally.build(this.option);
    this.refresh();
  }

  view(name) {
    for (const view of ["steps", "times", "meters", "log"]) at(`view-${view}`).hidden = view !== name;
    for (const button of document.querySelectorAll("#bar [data-view]")) {
      if (button.dataset.view === name) button.setAttribute("aria-current", "page"); else button.removeAttribute("aria-current");
    }
  }

  /* What is scrolled to stands below the line at the top, however high that is. */
  clearTop() { document.documentElement.style.scrollPaddingTop = `${at("top").offsetHeight + 8}px`; }

  theme() {
    const theme = this.log.kept.theme;
    document.documentElement.dataset.theme = theme;
    at("theme").textContent = `Colours: ${{ "": "as the device", light: "light, for the sun", dark: "dark" }[theme]}`;
  }

  add(entry, now = new Date()) {
    this.log.add(entry, now);
    this.refresh();
  }

  ask(words, yes, confirmed) {
    at("ask-words").textContent = words;
    at("ask-yes").textContent = yes;
    this.confirmed = confirmed;
    at("ask").showModal();
  }

  typeAir() {
    const typed = typedNumber(at("air-temp").value), { zero_c: zero, per_c: per, temperature } = this.data.units;
    if (typed === null) { show(at("air-said"), "That is no temperature."); return; }
    const celsius = Number(((typed - zero) / per).toFixed(4));
    if (Math.abs(celsius) > 60) { show(at("air-said"), `${typed} ${temperature} is no air temperature.`); return; }
    at("air-temp").value = "";
    this.add({ what: "air", air_temp_c: celsius });
  }

  typeNote() {
    const text = at("note-text").value.trim();
    if (!text) return;
    at("note-text").value = "";
    this.add({ what: "note", text });
  }

  airTemp() { return this.day.air ? this.day.air.air_temp_c : null; }

  expected(reading, now) { return expectedAt(reading.table, this.airTemp(), now.getHours() + now.getMinutes() / 60); }

  whyNoFigure(reading) {
    const { table } = reading;
    if (!table.h.length) return "No figure over the weather for this gauge: the competent person judges.";
    const spread = `${this.temperature(table.t[0])} to ${this.temperature(table.t[table.t.length - 1])}, ${two(table.h[0])}:00 to ${two((table.h[table.h.length - 1] + 1) % 24)}:00`;
    return this.airTemp() === null ? `Type the air temperature. Solved for ${spread}.` : `Outside the solved table (${spread}): no figure for now.`;
  }

  pressure(mbar, unit = this.data.units.pressure) {
    const { mbar: size, pressure_digits: digits } = this.data.units;
    return `${(mbar / size).toFixed(digits + 1)}${unit ? ` ${unit}` : ""}`;
  }

  /* A limit as the papers print it: it comes rounded. */
  limit(mbar, unit = this.data.units.pressure) {
    const { mbar: size, pressure_digits: digits } = this.data.units;
    return `${(mbar / size).toFixed(digits)}${unit ? ` ${unit}` : ""}`;
  }

  /* A let-by flow; a limit in US units is cut to three figures, never above the truth. */
  letByFlow(flow, isLimit = false) {
    const { let_by: sign, l_min: size } = this.data.units;
    if (size === 1 || flow === 0) return `${flow} ${sign}`;
    const shown = flow / size, unit = 10 ** (Math.floor(Math.log10(Math.abs(shown))) - 2);
    return `${Number(((isLimit ? Math.floor(shown / unit + 1e-9) : Math.round(shown / unit)) * unit).toPrecision(3))} ${sign}`;
  }

  temperature(celsius) { return `${(celsius * this.data.units.per_c + this.data.units.zero_c).toFixed(1)} ${this.data.units.temperature}`; }

  limitWords(reading) {
    return [reading.warning !== null && `warning at ${this.limit(reading.warning)}`, reading.abort !== null && `abort at ${this.limit(reading.abort)} or less`,
      reading.abort_high !== null && `abort at ${this.limit(reading.abort_high)} or more`].filter(Boolean).join(" · ");
  }

  lateWords(bar, moment) {
    if (!bar?.clock) return "";
    const late = minutesIn(this.data, moment) - bar.end;
    return late > 1 ? `, ${spanWords(late)} late` : late < -1 ? `, ${spanWords(late)} early` : "";
  }

  /* What the latest time to cut says at the step of the cut, which is a hold for it. */
  cutWords(now) {
    const times = this.option.timeline;
    if (!times || times.latest_cut === null) return [];
    const left = times.latest_cut - minutesIn(this.data, now);
    return [left > 0 ? `Hold: the cut begins by ${times.latest_clock}, ${spanWords(left)} from now, or not today.` : `The latest time to cut, ${times.latest_clock}, has passed. Do not cut: put gas back and relight as promised, unless the competent person releases the cut in writing.`];
  }

  refresh(now = new Date()) {
    this.day = dayOf(this.log.entries);
    this.refreshTop(now);
    this.cards.refresh(this.day, now);
    this.tally.refresh(this.day);
    this.refreshTimes(now);
    const air = this.day.air;
    show(at("air-said"), air ? `${this.temperature(air.air_temp_c)}, typed at ${clockOf(air.at)}.${now - new Date(air.at) > 2 * 3600e3 ? " That is long ago: type it again." : ""}` : `Not typed yet. Planned for ${this.data.air_temp}.`);
    show(at("other-day"), isOtherDay(this.data, now) ? `Planned for ${this.data.start.replace("T", " ")}; the device says ${stamp(now).slice(0, 16).replace("T", " ")}. No time is counted down on another day than the planned one.` : "");
    const entries = this.log.entries;
    at("entries").replaceChildren(...entries.slice(-200).reverse().map((entry) => build("li", {}, build("time", {}, clockOf(entry.at)), ` ${entryWords(entry, this)}`)));
    at("entries").setAttribute("start", String(entries.length));
  }

  refreshTop(now) {
    at("now").textContent = `${two(now.getHours())}:${two(now.getMinutes())}`;
    const next = nextStep(this.option, this.day), times = this.option.timeline;
    const late = next?.bar?.clock ? minutesIn(this.data, now) - next.bar.start : null;
    const behind = late === null ? "" : late > 1 ? `, ${spanWords(late)} behind` : late < -1 ? `, ${spanWords(late)} ahead` : ", on time";
    show(at("next"), next ? `Next: step ${next.n}${next.bar?.clock ? `, ${next.bar.clock}${behind}` : ""}` : "Every step is settled");
    show(at("go-air"), this.airTemp() === null ? "Type air" : `Air ${this.temperature(this.airTemp())}`);
    const cut = this.option.steps.find((step) => step.cut), isCut = cut && isSettled(this.day, cut.n);
    if (!times || times.latest_cut === null || isCut) { show(at("latest-cut"), ""); return; }
    if (isOtherDay(this.data, now)) {
      // A countdown on another day is a false alarm, and people learn not to heed it.
      at("latest-cut").className = "";
      show(at("latest-cut"), `Latest time to cut ${times.latest_clock} on ${this.data.start.slice(0, 10)}: not counted today`);
      return;
    }
    const left = times.latest_cut - minutesIn(this.data, now);
    at("latest-cut").className = left <= 0 ? "bad" : left < 30 ? "doubt" : "";
    show(at("latest-cut"), left > 0 ? `Latest time to cut ${times.latest_clock}: ${spanWords(left)} left` : `Latest time to cut ${times.latest_clock} has passed: do not cut`);
  }

  refreshTimes(now) {
    const times = this.option.timeline;
    const rows = !times ? [["", "This plan holds no timeline."]] : [["Now", `${two(now.getHours())}:${two(now.getMinutes())}`], ["Latest time to cut", times.latest_clock || "–"], ["Gas back, planned", times.gas_back], ["Last meter relit, planned", times.relit || "–"], ["End of the crew's day", times.day_end], ["Spare time in the plan", spanWords(times.slack)]];
    at("key-times").replaceChildren(...rows.flatMap(([name, value]) => [build("dt", {}, name), build("dd", {}, value)]));
    at("times").tBodies[0].replaceChildren(...this.option.steps.map((step) => {
      const entry = this.day.steps.get(step.n), bar = step.bar;
      const done = entry ? `${clockOf(entry.at)}${entry.what === "left out" ? " left out" : this.lateWords(bar, new Date(entry.at))}` : "";
      const planned = bar ? bar.clock || { before: "before", after: "later" }[bar.day] : "–";
      return build("tr", { "aria-current": nextStep(this.option, this.day) === step ? "step" : false }, build("th", { scope: "row" }, pressed(`${step.n}`, () => { this.view("steps"); this.cards.go(step.n); }, { "aria-label": `Step ${step.n}: ${step.does}` })), build("td", {}, planned), build("td", {}, done));
    }));
  }
}

function entryWords(entry, page) {
  switch (entry.what) {
    case "done": return `step ${entry.step} done`;
    case "taken back": return `step ${entry.step} taken back`;
    case "left out": return `step ${entry.step} left out: ${entry.why}`;
    case "signed": return `hold of step ${entry.step} signed by ${entry.name}`;
    case "air": return `air ${page.temperature(entry.air_temp_c)}`;
    case "reading": return `step ${entry.step}, gauge ${entry.gauge}: ${page.pressure(entry.mbar)}, ${entry.verdict}`;
    case "let-by": return `step ${entry.step}, let-by test: ${letByWords(entry, page)}`;
    case "drop": return `step ${entry.step}, drop with ${entry.of}: ${page.pressure(entry.mbar)}`;
    case "gas": return `step ${entry.step}: ${entry.of} ${entry.percent} %`;
    case "meter": return `meter ${entry.meter}: ${entry.state}`;
    case "seal": return `meter ${entry.meter}: seal ${entry.seal || "–"}, isolated at ${entry.isolated_at || "–"}`;
    default: return `${entry.step ? `step ${entry.step}: ` : ""}${entry.text}`;
  }
}

try {
  window.workDay = new Page(unpacked(JSON.parse(at("page-data").textContent)));
} catch (error) {
  show(at("barred"), `This page cannot run here (${error.name}). The paper work pack governs: work from it, and log on paper.`);
}
