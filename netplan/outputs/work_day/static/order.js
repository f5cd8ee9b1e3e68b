/* The order of the work: what a step waits for, which step is next, and when the plan has it. */
function isHold(step) { return Boolean(step.hold || step.cut); }

function isSettled(day, n) { return day.steps.has(n); }

function isSigned(day, n) { return day.steps.get(n)?.what === "signed"; }

/* Why nobody goes on to a step, a line each; leaving is never among what waits. */
function whatBlocks(option, day, step) {
  const lines = [];
  for (const earlier of option.steps) {
    if (earlier.n < step.n && isHold(earlier) && !isSigned(day, earlier.n)) lines.push(`Step ${earlier.n} is a hold that nobody has signed.`);
    if (earlier.n > step.n) continue;
    for (const reading of earlier.readings) {
      const entry = day.readings.get(JSON.stringify([earlier.n, reading.gauge]));
      if (entry && isBad(entry.verdict)) lines.push(`${reading.gauge} at step ${earlier.n}: ${entry.verdict}.`);
    }
    const drop = earlier.feed_test && day.drops.get(earlier.n);
    if (drop && isAboveDrop(earlier.feed_test, drop)) lines.push(`Drop along ${earlier.feed_test.feed} at step ${earlier.n} is above the most.`);
    const test = earlier.let_by && day.letBy.get(earlier.n);
    if (test && letByVerdict(earlier.let_by, test)[0] === "bad") lines.push(`Let-by test of step ${earlier.n} is not passed.`);
  }
  return lines;
}

/* The state of everything, by the steps that are done in the order they were; meters by the tally. */
function itemStates(option, day) {
  const states = new Map();
  for (const [, first, ids] of option.first) for (const id of ids) states.set(id, first);
  const done = [...day.steps.values()].filter((entry) => entry.what !== "left out").sort((a, b) => Date.parse(a.at) - Date.parse(b.at));
  const byNumber = new Map(option.steps.map((step) => [step.n, step]));
  for (const entry of done) for (const [, , to, ids] of byNumber.get(entry.step)?.changes || []) for (const id of ids) states.set(id, to);
  for (const [id, entry] of day.meters) states.set(id, entry.state);
  return states;
}

const MOST_NAMED = 6;
function named(kind, ids) { return ids.length > MOST_NAMED ? `${ids.length} ${kind}s` : `${kind} ${ids.join(", ")}`; }

/* Needs of a step that are not met yet, in words. */
function unmetNeeds(step, states) {
  const lines = [];
  for (const [kind, state, ids] of step.needs || []) {
    const open = ids.filter((id) => states.get(id) !== state);
    if (open.length) lines.push(`${named(kind, open)} ${state}`);
  }
  return lines;
}

function needWords(step) { return (step.needs || []).map(([kind, state, ids]) => `${named(kind, ids)}: ${state}`); }

function changeWords(step) { return (step.changes || []).map(([kind, from, to, ids]) => `${named(kind, ids)}: ${from} → ${to}`); }

function nextStep(option, day) { return option.steps.find((step) => !isSettled(day, step.n)) || null; }

/* The start of the window: on its day, or, where the plan has none or it is another day, the last one by the
   clock that is not more than six hours ahead. */
function windowStart(data, now) {
  if (data.start) {
    const planned = new Date(data.start);
    if (Math.abs(now - planned) < 36 * 3600e3) return planned;
  }
  const start = new Date(now);
  start.setHours(0, data.start_min, 0, 0);
  if (start - now > 6 * 3600e3) start.setDate(start.getDate() - 1);
  return start;
}

function isOtherDay(data, now) { return Boolean(data.start) && Math.abs(now - new Date(data.start)) >= 36 * 3600e3; }

/* Minutes since the start of the window. */
function minutesIn(data, moment) { return (moment - windowStart(data, moment)) / 60000; }

function stateOfWork(option, day) {
  const cut = option.steps.find((step) => step.cut);
  const states = itemStates(option, day);
  const back = option.steps.some((step) => step.n > (cut?.n ?? 0) && isSettled(day, step.n) && (step.changes || []).some(([kind, , to]) => kind === "part" && (to === "gas" || to === "live")));
  if (back) return "gas back in";
  if (cut && isSettled(day, cut.n)) return "main cut";
  return states.size || cut ? "before the cut" : "";
}
