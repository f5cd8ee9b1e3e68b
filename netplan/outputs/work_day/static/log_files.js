/* The log as a file: given out, read back, shown as text, cleared. Nothing leaves the device but by the reader's hand. */
const MOST_FILE_BYTES = 20e6;

class LogFiles {
  constructor(page) {
    this.page = page;
    at("export").addEventListener("click", () => this.give());
    at("as-text").addEventListener("click", () => this.text());
    at("import").addEventListener("change", (event) => this.take(event.target));
    at("clear").addEventListener("click", () => page.ask(`Clear all ${count(page.log.entries.length, "entry").replace("entrys", "entries")} of option ${page.option.rank}? Export them first: they cannot be had back.`, "Clear the log", () => { page.log.clear(); page.refresh(); show(at("log-said"), "The log is clear."); }));
  }

  written() { return `${JSON.stringify(this.page.log.whole(), null, 1)}\n`; }

  give() {
    const link = build("a", { download: `work-day-log-${this.page.data.plan_sha256.slice(0, 8)}-option-${this.page.option.rank}.json` });
    link.href = URL.createObjectURL(new Blob([this.written()], { type: "application/json" }));
    document.body.append(link);
    link.click();
    link.remove();
    setTimeout(() => URL.revokeObjectURL(link.href), 60000);
    show(at("log-said"), "Given out as a file. If the device kept none, use the text below.");
  }

  text() {
    const box = at("log-text");
    box.hidden = false;
    box.value = this.written();
    box.focus();
    box.select();
  }

  async take(input) {
    const file = input.files[0];
    if (!file) return;
    let fault = "", log = null;
    try {
      if (file.size > MOST_FILE_BYTES) throw new RangeError("too large");
      log = JSON.parse(await file.text());
      fault = this.fault(log);
    } catch (error) {
      fault = `It cannot be read (${error.name}).`;
    }
    input.value = "";
    if (fault) { show(at("log-said"), `Nothing was imported. ${fault}`); return; }
    this.page.choose(log.option);
    const fresh = this.page.log.merge(log.entries);
    this.page.refresh();
    show(at("log-said"), `Imported: ${fresh} of ${log.entries.length} entries are new here.`);
  }

  /* Why a file is no log of this plan; empty where it is one. */
  fault(log) {
    if (typeof log !== "object" || log === null || log.kind !== KIND) return `It is no log of this page: known kind ${KIND}.`;
    if (log.plan_sha256 !== this.page.data.plan_sha256) return "It is the log of another plan.";
    if (!this.page.data.options.some((option) => option.rank === log.option)) return "It is of an option that this plan does not have.";
    if (!Array.isArray(log.entries)) return "It holds no entries.";
    for (const [k, entry] of log.entries.entries()) if (entryFault(entry)) return `Entry ${k + 1} ${entryFault(entry)}.`;
    return "";
  }
}
