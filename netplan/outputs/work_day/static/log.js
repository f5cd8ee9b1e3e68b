/* The log: entries in time order, kept in this browser under the digest of the plan. Nothing is ever taken out of
   it but by clearing: what is done, taken back or read again is a further entry. */
const KIND = "gas-netplan/work-day-log/1";

class DayLog {
  constructor(data, barred) {
    this.data = data;
    this.barred = barred;
    this.key = `gas-netplan work day ${data.plan_sha256}`;
    this.kept = { option: data.option, theme: "", logs: {} };
    this.read();
  }

  read() {
    try {
      const text = window.localStorage.getItem(this.key);
      window.localStorage.setItem(`${this.key} probe`, "1");
      window.localStorage.removeItem(`${this.key} probe`);
      if (text === null) return;
      const held = JSON.parse(text);
      if (!this.data.options.some((option) => option.rank === held.option)) held.option = this.data.option;
      for (const [rank, entries] of Object.entries(held.logs)) held.logs[rank] = entries.filter((entry) => entryFault(entry) === "");
      this.kept = { option: held.option, theme: String(held.theme || ""), logs: held.logs };
    } catch (error) {
      this.refused(error);
    }
  }

  save() {
    try {
      window.localStorage.setItem(this.key, JSON.stringify(this.kept));
    } catch (error) {
      this.refused(error);
    }
  }

  refused(error) {
    show(this.barred, `This browser keeps nothing of what is entered here (${error.name}). The paper work pack governs: log on paper, or export the log before the page is closed.`);
  }

  get entries() { return (this.kept.logs[String(this.kept.option)] ||= []); }

  /* Times never run backwards in the log; where the device's clock does, the entry says so. */
  add(entry, now = new Date()) {
    const last = this.entries[this.entries.length - 1];
    const earliest = last ? Date.parse(last.at) + 1 : -Infinity;
    const whole = { at: stamp(new Date(Math.max(now.getTime(), earliest))), ...entry };
    if (now.getTime() < earliest - 1000) whole.clock = stamp(now);
    this.entries.push(whole);
    this.save();
    return whole;
  }

  /* Entries of another device, or of an earlier export, beside those here; each once. */
  merge(entries) {
    const known = new Set(this.entries.map((entry) => JSON.stringify(entry)));
    const fresh = entries.filter((entry) => !known.has(JSON.stringify(entry)));
    const all = [...this.entries, ...fresh].sort((a, b) => Date.parse(a.at) - Date.parse(b.at));
    this.kept.logs[String(this.kept.option)] = all;
    this.save();
    return fresh.length;
  }

  clear() {
    this.kept.logs[String(this.kept.option)] = [];
    this.save();
  }

  whole(now = new Date()) {
    return { kind: KIND, plan_sha256: this.data.plan_sha256, option: this.kept.option, units: this.data.units.name, work: this.data.work, exported: stamp(now), entries: this.entries };
  }
}

const MOMENT = /^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}[+-]\d\d:\d\d$/;
const isText = (value, most) => typeof value === "string" && value.length <= most;
const isFigure = (value) => typeof value === "number" && Number.isFinite(value) && Math.abs(value) <= 1e6;
const isStep = (value) => Number.isInteger(value) && value >= 1;
const FIELDS = {
  done: { step: isStep }, "taken back": { step: isStep }, "left out": { step: isStep, why: (v) => isText(v, 500) },
  signed: { step: isStep, name: (v) => isText(v, 80) && v !== "" },
  air: { air_temp_c: isFigure },
  reading: { step: isStep, gauge: (v) => isText(v, 1000), mbar: isFigure, verdict: (v) => v in VERDICTS },
  "let-by": { step: isStep }, drop: { step: isStep, of: (v) => ["air", "gas"].includes(v), mbar: isFigure }, gas: { step: isStep, of: (v) => ["gas", "oxygen", "LFL"].includes(v), percent: isFigure },
  meter: { meter: (v) => isText(v, 1000), state: (v) => ["on", "off", "sealed", "purged", "relit", "no access"].includes(v) },
  seal: { meter: (v) => isText(v, 1000), seal: (v) => isText(v, 500), isolated_at: (v) => isText(v, 500) },
  note: { text: (v) => isText(v, 500) && v !== "" },
};

/* What is wrong with an entry; empty where nothing is. */
function entryFault(entry) {
  if (typeof entry !== "object" || entry === null) return "is no entry";
  if (!isText(entry.at, 40) || !MOMENT.test(entry.at) || Number.isNaN(Date.parse(entry.at))) return "has no time";
  if (typeof entry.what !== "string" || !Object.hasOwn(FIELDS, entry.what)) return "is of no known kind";
  for (const [name, fits] of Object.entries(FIELDS[entry.what])) if (!fits(entry[name])) return `has no fit ${name}`;
  for (const name of ["l_min", "mbar", "resolution_l_min", "air_temp_c", "expect_mbar"]) if (name in entry && !isFigure(entry[name])) return `has no fit ${name}`;
  return "";
}

/* Where the day stands by its entries. */
function dayOf(entries) {
  const day = { steps: new Map(), readings: new Map(), letBy: new Map(), drops: new Map(), gas: new Map(), meters: new Map(), seals: new Map(), notes: new Map(), air: null, names: [] };
  for (const entry of entries) {
    if (entry.what === "done" || entry.what === "signed" || entry.what === "left out") day.steps.set(entry.step, entry);
    if (entry.what === "taken back") day.steps.delete(entry.step);
    if (entry.what === "signed") day.names = [entry.name, ...day.names.filter((name) => name !== entry.name)].slice(0, 3);
    if (entry.what === "air") day.air = entry;
    if (entry.what === "reading") day.readings.set(JSON.stringify([entry.step, entry.gauge]), entry);
    if (entry.what === "let-by") day.letBy.set(entry.step, entry);
    if (entry.what === "drop") day.drops.set(entry.step, entry);
    if (entry.what === "gas") day.gas.set(entry.step, [...(day.gas.get(entry.step) || []), entry]);
    if (entry.what === "meter") day.meters.set(entry.meter, entry);
    if (entry.what === "seal") day.seals.set(entry.meter, entry);
    if (entry.what === "note" && entry.step) day.notes.set(entry.step, [...(day.notes.get(entry.step) || []), entry]);
  }
  return day;
}
