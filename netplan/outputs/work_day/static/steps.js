/* The step list: one card a step, built once for an option and brought up to date after every entry. */
const DAY_WORDS = { before: "on an earlier day", after: "later" };

class StepCards {
  constructor(page) { this.page = page; this.cards = []; }

  build(option) {
    this.option = option;
    this.cards = option.steps.map((step) => new StepCard(this.page, option, step));
    const list = at("steps");
    list.replaceChildren();
    let stage = null, group = null;
    for (const card of this.cards) {
      if (group === null || (card.step.stage || "") !== stage) {
        stage = card.step.stage || "";
        if (stage) list.append(build("h3", { class: "stage" }, stage));
        group = build("ol", {});
        list.append(group);
      }
      group.append(card.element);
    }
  }

  refresh(day, now) {
    const next = nextStep(this.option, day), states = itemStates(this.option, day);
    for (const card of this.cards) card.refresh(day, states, now, next?.n === card.step.n);
  }

  go(n) {
    const card = this.cards.find((one) => one.step.n === n);
    if (!card) return;
    card.open = true;
    this.page.refresh();
    this.page.clearTop();
    card.element.scrollIntoView({ block: "start" });
    card.title.focus({ preventScroll: true });
  }
}

class StepCard {
  constructor(page, option, step) {
    Object.assign(this, { page, option, step, open: false, rows: [] });
    this.status = build("p", { class: "status", "aria-live": "polite" });
    this.title = build("h4", { tabindex: "-1", id: `step-${step.n}` }, build("span", { class: "n" }, String(step.n)), build("span", {}, step.does));
    this.fold = pressed("Show", () => { this.open = !this.open; this.page.refresh(); }, { class: "fold", "aria-expanded": "false", "aria-label": `Step ${step.n}: show or fold` });
    this.waits = build("div", { class: "waits", "aria-live": "polite" });
    this.body = build("div", { class: "body" }, this.facts(), this.waits, this.plainReading(), ...step.readings.map((reading) => this.reading(reading)), this.letBy(), this.feedTest(), this.purge(), this.gas(), this.more(), this.actions());
    this.element = build("li", { class: "step", "aria-labelledby": `step-${step.n}` }, build("div", { class: "top" }, this.title, this.fold), this.status, this.body);
  }

  facts() {
    const { step } = this, bar = step.bar, marks = [];
    if (isHold(step)) marks.push(build("b", { class: "hold" }, "HOLD"));
    if (step.trench) marks.push(build("b", { class: "mark" }, step.trench === "empty" ? "trench empty" : "people in the trench"));
    this.planned = build("span", {}, !bar ? "" : bar.clock ? `planned ${bar.clock}` : DAY_WORDS[bar.day]);
    const words = [step.who, step.minutes ? `${step.minutes} min` : "", bar?.critical ? "on the critical path" : ""].filter(Boolean).join(" · ");
    return build("p", { class: "facts" }, ...marks, build("span", {}, words), this.planned);
  }

  plainReading() { return this.step.across ? build("p", { class: "expect" }, `Across the barrier before it is taken out, as solved: ${this.step.across}`) : this.step.expect ? build("p", { class: "expect" }, `Expected in the planned weather: ${this.step.expect}`) : null; }

  /* A form with fields and a line that says what was found; `enter` gets the texts of the fields. */
  form(title, hints, fields, enter) {
    const inputs = fields.map(([, attributes]) => build("input", { type: "text", inputmode: "decimal", ...attributes }));
    const said = build("p", { class: "verdict", role: "status", "aria-live": "assertive" });
    const rows = fields.map(([words], k) => build("label", {}, build("span", {}, words), inputs[k]));
    const send = build("button", { type: "submit" }, "Enter");
    const form = build("form", { class: "entry", autocomplete: "off" }, build("p", { class: "entry-title" }, title), ...hints, said, ...(rows.length === 1 ? [build("div", { class: "enter" }, rows[0], send)] : [...rows, send]));
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      const fault = enter(inputs.map((input) => input.value));
      if (fault) { verdict(said, ["doubt", `? ${fault}`]); return; }
      inputs.forEach((input) => { input.value = ""; });
      this.page.refresh();
      said.scrollIntoView({ block: "nearest" });
    });
    return { form, said };
  }

  reading(reading) {
    const { units } = this.page.data, hint = build("p", { class: "hint" });
    const limits = build("p", { class: "hint" }, this.page.limitWords(reading));
    const { form, said } = this.form(`Gauge ${reading.gauge}${reading.place ? `, ${reading.place}` : ""}`, [hint, limits], [[`Reads now, ${units.pressure}`, {}]], ([text]) => {
      const typed = typedNumber(text);
      if (typed === null) return "That is no number.";
      const now = new Date(), mbar = Number((typed * units.mbar).toFixed(6)), expect = this.page.expected(reading, now);
      const entry = { what: "reading", step: this.step.n, gauge: reading.gauge, mbar, verdict: verdictOf(reading, mbar, expect) };
      if (this.page.airTemp() !== null) entry.air_temp_c = this.page.airTemp();
      if (expect !== null) entry.expect_mbar = Number(expect.toFixed(6));
      this.page.add(entry, now);
      return "";
    });
    this.rows.push((day, now) => {
      const expect = this.page.expected(reading, now);
      show(hint, expect === null ? this.page.whyNoFigure(reading) : `Should read now ${this.page.pressure(expect)} ± ${this.page.limit(reading.band, "")}`);
      const entry = day.readings.get(JSON.stringify([this.step.n, reading.gauge]));
      if (entry) verdict(said, [VERDICTS[entry.verdict][0], `${this.page.pressure(entry.mbar)} at ${clockOf(entry.at)}. ${VERDICTS[entry.verdict][1]}`]);
    });
    return form;
  }

  letBy() {
    const test = this.step.let_by;
    if (!test) return null;
    const on = `${test.barriers.join(" + ")}${test.sum ? " (their sum)" : ""}`;
    const title = `Test ${test.name}${on ? `: ${on}` : ""}`, what = test.name === "T0" ? "Fall of pressure" : "Pressure";
    const hints = [
      [test.meter_at && `meter at ${test.meter_at}`, test.across && `${test.across} across`, test.zone && `zone at ${test.zone}`, `${test.minutes} min`].filter(Boolean).join(" · "),
      [test.limit_l_min !== null && `at most ${this.page.letByFlow(test.limit_l_min, true)}`, test.limit_mbar !== null && `${what.toLowerCase()} at most ${this.page.pressure(test.limit_mbar)}`, test.resolution_l_min !== null && `meter must show ${this.page.letByFlow(test.resolution_l_min, true)} or finer`].filter(Boolean).join(" · "),
    ].filter(Boolean).map((words) => build("p", { class: "hint" }, words));
    const fields = [], { units } = this.page.data;
    if (test.limit_l_min !== null) fields.push([`Flow, ${units.let_by}`, "l_min", units.l_min]);
    if (test.limit_l_min !== null && test.resolution_l_min !== null) fields.push([`Smallest step that the meter shows, ${units.let_by}`, "resolution_l_min", units.l_min]);
    if (test.limit_mbar !== null) fields.push([`${what}, ${this.page.data.units.pressure}`, "mbar", this.page.data.units.mbar]);
    if (!fields.length) return build("div", { class: "entry" }, build("p", { class: "entry-title" }, title), ...hints);
    const { form, said } = this.form(title, hints, fields.map(([words]) => [words, {}]), (texts) => {
      const entry = { what: "let-by", step: this.step.n };
      for (const [k, text] of texts.entries()) {
        if (text.trim() === "") continue;
        const typed = typedNumber(text);
        if (typed === null) return "That is no number.";
        entry[fields[k][1]] = Number((typed * fields[k][2]).toFixed(6));
      }
      this.page.add(entry);
      return "";
    });
    this.rows.push((day) => {
      const entry = day.letBy.get(this.step.n);
      if (entry) verdict(said, [letByVerdict(test, entry)[0], `${clockOf(entry.at)}: ${letByWords(entry, this.page)}. ${letByVerdict(test, entry)[1]}`]);
    });
    return form;
  }

  feedTest() {
    const test = this.step.feed_test, { units } = this.page.data;
    if (!test) return null;
    const hint = build("p", { class: "hint" }, `At ${test.flow} of ${test.of}: ${test.drop} as planned, at most ${this.page.limit(test.most)}; error of the instrument at most ${test.error}`);
    const { form, said } = this.form(`Drop along ${test.feed}, with ${test.of}`, [hint], [[`Drop, ${units.pressure}`, {}]], ([text]) => {
      const typed = typedNumber(text);
      if (typed === null) return "That is no number.";
      this.page.add({ what: "drop", step: this.step.n, of: test.of, mbar: Number((typed * units.mbar).toFixed(6)) });
      return "";
    });
    this.rows.push((day) => {
      const entry = day.drops.get(this.step.n);
      if (!entry) return;
      const words = isAboveDrop(test, entry) ? ["bad", "✕ Above the greatest drop allowed: do not accept the bypass, do not go on."] : ["good", "✓ Within the greatest drop allowed."];
      verdict(said, [words[0], `${this.page.pressure(entry.mbar)} at ${clockOf(entry.at)}. ${words[1]}`]);
    });
    return form;
  }

  purge() {
    const path = this.step.purge;
    if (!path) return null;
    const lines = [`Purge of ${path.part} with ${path.medium}: in at ${path.inlet}, out at ${path.outlet}, one at a time.`, path.end && `End point: ${path.end}`];
    return build("div", { class: "entry" }, ...lines.filter(Boolean).map((line, k) => build("p", { class: k ? "end" : "entry-title" }, line)));
  }

  /* Shares of gas and oxygen as read: two steady readings stand below each other. */
  gas() {
    if (!this.step.gas && !this.step.purge) return null;
    const kinds = [["gas", "Gas, % by volume"], ["LFL", "% of LFL"], ["oxygen", "Oxygen, % by volume"]];
    const { form, said } = this.form("Gas readings at the vent or in the trench", [], kinds.map(([, words]) => [words, {}]), (texts) => {
      const found = texts.map(typedNumber);
      if (texts.every((text) => text.trim() === "")) return "Nothing is typed.";
      if (texts.some((text, k) => text.trim() !== "" && found[k] === null)) return "That is no number.";
      found.forEach((percent, k) => { if (percent !== null) this.page.add({ what: "gas", step: this.step.n, of: kinds[k][0], percent }); });
      return "";
    });
    this.rows.push((day) => {
      const words = (day.gas.get(this.step.n) || []).slice(-6).map((entry) => `${clockOf(entry.at)} ${entry.of} ${entry.percent} %`);
      if (words.length) verdict(said, ["plain", `${words.join("; ")}. Compare with the end point: the competent person judges.`]);
    });
    return form;
  }

  more() {
    const { step } = this, lists = [["Needs", needWords(step)], ["Changes", changeWords(step)], ["Tests", step.tests || []], ["Manned all the time", step.manned || []], ["If not", step.if_not ? [step.if_not] : []]];
    const parts = lists.filter(([, lines]) => lines.length).flatMap(([title, lines]) => [build("dt", {}, title), ...lines.map((line) => build("dd", {}, line))]);
    this.notes = build("ul", { class: "notes" });
    const input = build("input", { type: "text", maxlength: "500", id: `note-${step.n}` });
    const noted = (what) => () => {
      const text = input.value.trim();
      if (!text) { input.focus(); return; }
      this.page.add(what === "note" ? { what, step: step.n, text } : { what, step: step.n, why: text });
      input.value = "";
      this.page.refresh();
    };
    const note = build("div", { class: "row" }, build("label", { for: `note-${step.n}` }, isHold(step) ? "Note" : "Note, or why it is left out"), input,
      build("div", { class: "pair" }, pressed("Keep note", noted("note")), isHold(step) ? null : pressed("Leave out", noted("left out"))), this.notes);
    return build("details", {}, build("summary", {}, "Needs, if not, note"), parts.length ? build("dl", {}, ...parts) : null, note);
  }

  actions() {
    const { step } = this;
    this.takeBack = pressed("Take back", () => this.page.ask(`Take back step ${step.n}? The log keeps both.`, "Take back", () => this.page.add({ what: "taken back", step: step.n })), { class: "quiet" });
    this.done = build("button", { type: isHold(step) ? "submit" : "button", class: "wide done" }, isHold(step) ? "Sign and go on" : "Done");
    if (!isHold(step)) this.done.addEventListener("click", () => this.page.add({ what: "done", step: step.n }));
    if (!isHold(step)) return build("div", { class: "actions" }, this.done, this.takeBack);
    this.signer = build("input", { type: "text", maxlength: "80", id: `sign-${step.n}`, autocapitalize: "words" });
    this.recent = build("div", { class: "recent" });
    const sign = build("form", { class: "sign", autocomplete: "off" }, build("label", { for: `sign-${step.n}` }, "Hold: name of who releases it"), this.signer, this.recent, this.done);
    sign.addEventListener("submit", (event) => {
      event.preventDefault();
      const name = this.signer.value.trim();
      if (!name) { this.signer.focus(); return; }
      const missing = this.missing(this.page.day);
      const signed = () => {
        if (missing.length) this.page.add({ what: "note", step: step.n, text: `signed without ${missing.join(", ")}` });
        this.page.add({ what: "signed", step: step.n, name });
        this.signer.value = "";
        this.page.refresh();
      };
      if (missing.length) this.page.ask(`Nothing is typed of ${missing.join(", ")}. Sign the hold of step ${step.n} without it? The log says so.`, "Sign without", signed);
      else signed();
    });
    this.sign = sign;
    return build("div", { class: "actions" }, sign, this.takeBack);
  }

  /* What this step is to be read at or tested by, and nothing is typed of. */
  missing(day) {
    const { step } = this;
    const gauges = step.readings.map((one) => one.gauge).filter((gauge) => !day.readings.has(JSON.stringify([step.n, gauge])));
    const letBy = step.let_by && (step.let_by.limit_l_min !== null || step.let_by.limit_mbar !== null) && !day.letBy.has(step.n);
    return [gauges.length ? `gauge ${gauges.join(", ")}` : "", letBy ? `test ${step.let_by.name}` : "", step.feed_test && !day.drops.has(step.n) ? `the drop along ${step.feed_test.feed}` : ""].filter(Boolean);
  }

  refresh(day, states, now, isNext) {
    const { step } = this, entry = day.steps.get(step.n), settled = Boolean(entry);
    const blocks = settled ? [] : whatBlocks(this.option, day, step);
    const unmet = settled ? [] : unmetNeeds(step, states);
    this.element.dataset.state = settled ? (entry.what === "left out" ? "left" : "done") : isNext ? "next" : blocks.length ? "blocked" : "open";
    if (isNext) this.element.setAttribute("aria-current", "step"); else this.element.removeAttribute("aria-current");
    const isFolded = !this.open && !isNext;
    this.body.hidden = isFolded;
    this.fold.textContent = isFolded ? "Show" : "Fold";
    this.fold.hidden = isNext;
    this.fold.setAttribute("aria-expanded", String(!isFolded));
    show(this.status, this.statusWords(entry, now, isFolded));
    const unread = settled || !isHold(step) ? [] : this.missing(day);
    const waits = [...blocks, ...(unread.length ? [`Nothing typed yet of: ${unread.join(", ")}.`] : []), ...(unmet.length ? [`Not yet: ${unmet.join("; ")}.`] : []), ...(step.cut && !settled ? this.page.cutWords(now) : [])];
    this.waits.replaceChildren(...waits.map((line) => build("p", {}, line)));
    if (blocks.length) this.waits.append(build("p", {}, "Nobody goes on. Leaving never waits."));
    this.waits.hidden = !waits.length;
    this.takeBack.hidden = !settled;
    (this.sign || this.done).hidden = settled;
    this.done.disabled = blocks.length > 0;
    if (this.signer) {
      this.signer.disabled = blocks.length > 0;
      this.recent.replaceChildren(...day.names.map((name) => pressed(name, () => { this.signer.value = name; }, { disabled: blocks.length > 0 })));
    }
    this.notes.replaceChildren(...(day.notes.get(step.n) || []).map((one) => build("li", {}, `${clockOf(one.at)} ${one.text}`)));
    for (const row of this.rows) row(day, now);
  }

  statusWords(entry, now, isFolded) {
    const bar = this.step.bar;
    if (entry?.what === "signed") return `✓ Signed ${clockOf(entry.at)} by ${entry.name}${this.page.lateWords(bar, new Date(entry.at))}`;
    if (entry?.what === "done") return `✓ Done ${clockOf(entry.at)}${this.page.lateWords(bar, new Date(entry.at))}`;
    if (entry?.what === "left out") return `– Left out ${clockOf(entry.at)}: ${entry.why}`;
    if (!isFolded) return "";
    return [isHold(this.step) ? "HOLD" : "", this.step.who, bar?.clock ? `planned ${bar.clock}` : DAY_WORDS[bar?.day] || ""].filter(Boolean).join(" · ");
  }
}

function verdict(element, [kind, words]) {
  element.className = `verdict ${kind}`;
  show(element, words);
}

function letByWords(entry, page) {
  return [entry.l_min !== undefined && page.letByFlow(entry.l_min), entry.mbar !== undefined && page.pressure(entry.mbar), entry.resolution_l_min !== undefined && `meter to ${page.letByFlow(entry.resolution_l_min)}`].filter(Boolean).join(", ") || "nothing entered";
}
