/* What a gauge should read at the air temperature and hour of now, and what a reading means. The same is worked
   out from the log by the program (expected_reading.py). */
const NOISE_MBAR = 1e-6;

/* Nodes on both sides of a value with their shares; null outside. */
function between(nodes, value) {
  for (let k = 0; k < nodes.length; k += 1) {
    if (value === nodes[k]) return [[k, 1]];
    if (k && nodes[k - 1] < value && value < nodes[k]) {
      const share = (value - nodes[k - 1]) / (nodes[k] - nodes[k - 1]);
      return [[k - 1, 1 - share], [k, share]];
    }
  }
  return null;
}

function sinceFirst(hour, first) { return (((hour - first) % 24) + 24) % 24; }

/* Linear between temperatures and between the beginnings of hours; null outside the solved table. A pipe that stands
   open to the air reads the same in any weather. */
function expectedAt(table, airTempC, hourOfDay) {
  if (!table.h.length || airTempC === null) return table.always ?? null;
  const row = between(table.t, airTempC);
  const since = table.h.map((hour) => sinceFirst(hour, table.h[0]));
  const now = sinceFirst(hourOfDay, table.h[0]), last = since.length - 1;
  const column = since[last] <= now && now < since[last] + 1 ? [[last, 1]] : between(since, now);
  if (row === null || column === null) return null;
  let total = 0;
  for (const [i, ofRow] of row) {
    for (const [j, ofColumn] of column) {
      if (table.v[i][j] === null) return null;
      total += ofRow * ofColumn * table.v[i][j];
    }
  }
  return total;
}

function verdictOf(reading, mbar, expect) {
  if (reading.abort !== null && mbar <= reading.abort + NOISE_MBAR) return "abort low";
  if (reading.abort_high !== null && mbar >= reading.abort_high - NOISE_MBAR) return "abort high";
  if (expect === null) return "outside table";
  if (Math.abs(mbar - expect) > reading.band + NOISE_MBAR) return "outside band";
  if (reading.warning !== null && mbar <= reading.warning + NOISE_MBAR) return "warning";
  return "in band";
}

const VERDICTS = {
  "in band": ["good", "✓ In band."],
  warning: ["doubt", "! In band, but at the warning: watch it and tell the competent person."],
  "outside band": ["bad", "✕ Outside band: do not go on."],
  "abort low": ["bad", "✕ ABORT, low: undo the last change. Once the main is cut: press Failure."],
  "abort high": ["bad", "✕ ABORT, high: undo the last change; a station may be failing open."],
  "outside table": ["doubt", "? Outside the solved table: no figure to compare with. The competent person judges."],
};

function isBad(verdict) { return VERDICTS[verdict][0] === "bad"; }

function letByVerdict(test, entry) {
  const limits = [["l_min", "limit_l_min"], ["mbar", "limit_mbar"]].filter(([, limit]) => test[limit] !== null);
  const coarse = test.resolution_l_min !== null && test.limit_l_min !== null;
  if (limits.some(([value, limit]) => entry[value] !== undefined && entry[value] > test[limit] + NOISE_MBAR)) return ["bad", "✕ Above the limit: not accepted."];
  if (coarse && entry.resolution_l_min !== undefined && entry.resolution_l_min > test.resolution_l_min + NOISE_MBAR) return ["bad", "✕ The meter is too coarse for this limit: no result."];
  if (limits.some(([value]) => entry[value] === undefined)) return ["doubt", "? Not every figure is entered: no result."];
  if (coarse && entry.resolution_l_min === undefined) return ["doubt", "? Enter the smallest step that the meter shows: no result without it."];
  return ["good", "✓ Within the limits."];
}

function isAboveDrop(test, entry) { return entry.mbar > test.most + NOISE_MBAR; }
