"""Comparisons with the outside world, asserted and put on record for the page of checks.

`compared` takes the place of an assert in tests/outside: it fails when the two differ by more than the tolerance,
and otherwise, when records are wanted, writes down what was compared with what.

    python -m tests.compared            # runs the comparisons and writes docs/checks.csv anew
    python -m tests.compared --check    # runs them and fails if docs/checks.csv says anything else
"""

from __future__ import annotations

import csv
import json
import math
import os
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any, Literal

import numpy as np

ROOT = Path(__file__).resolve().parents[1]
SNAPSHOT = ROOT / "docs" / "checks.csv"
RECORD = "NETPLAN_RECORD_CHECKS"
COLUMNS = (
    *("file", "quantity", "unit", "ours", "reference", "difference", "tolerance", "points", "source", "how"),
)

How = Literal["published", "library", "arithmetic", "common practice", "from memory"]
KNOWN = ("published", "library", "arithmetic", "common practice", "from memory")


def compared(
    quantity: str,
    ours: Any,
    reference: Any,
    *,
    source: str,
    how: How,
    rel: float = 0.0,
    abs: float = 0.0,  # noqa: A002 - the same words as pytest.approx
    unit: str = "",
) -> None:
    """Assert that our value is the reference within the larger of both tolerances, and record it.

    Parameters
    ----------
    quantity : str
        What is compared; rows of the same quantity and source become one, with the worst of them.
    ours, reference : float or array
        Arrays are compared element by element.
    source : str
        Where the reference comes from, a library with its version.
    how : str
        How it is known.
    rel, abs : float
        Tolerances, relative to the reference and absolute.
    unit : str
    """
    assert how in KNOWN
    mine, theirs = np.atleast_1d(np.asarray(ours, float)), np.atleast_1d(np.asarray(reference, float))
    assert mine.shape == theirs.shape, f"{quantity}: {mine.shape} beside {theirs.shape}"
    assert mine.size, f"{quantity}: nothing to compare"
    apart, allowed = np.abs(mine - theirs), np.maximum(rel * np.abs(theirs), abs)
    wrong = ~(apart <= allowed)
    at = int(np.argmax(wrong)) if wrong.any() else _worst(apart, allowed)
    assert not wrong.any(), (
        f"{quantity}: {mine.flat[at]!r} beside {theirs.flat[at]!r} ({source}), {apart.flat[at]:.3g} apart, "
        f"{allowed.flat[at]:.3g} allowed"
    )
    where = os.environ.get(RECORD)
    if where:
        test = os.environ.get("PYTEST_CURRENT_TEST", "").partition("::")[0].rpartition("/")[2]
        values = (float(v.flat[at]) for v in (mine, theirs, apart, allowed))
        row = [test, quantity, unit, *values, int(mine.size), source, how]
        with Path(where).open("a", encoding="utf-8") as file:
            file.write(json.dumps(row) + "\n")


def _worst(apart: Any, allowed: Any) -> int:
    share = np.divide(apart, allowed, out=np.zeros_like(apart), where=allowed > 0)
    return int(np.argmax(share))


def gather() -> list[dict[str, str]]:
    """Run the comparisons and return one row for each quantity and source, the worst of its points."""
    files = sorted(
        path
        for path in (ROOT / "tests" / "outside").glob("test_*.py")
        if "compared(" in path.read_text(encoding="utf-8")
    )
    with tempfile.TemporaryDirectory() as folder:
        record = Path(folder) / "rows.jsonl"
        command = [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", *map(str, files)]
        done = subprocess.run(command, cwd=ROOT, env=os.environ | {RECORD: str(record)}, check=False)  # noqa: S603
        if done.returncode:
            raise SystemExit("a comparison fails: nothing is written")
        rows = [json.loads(line) for line in record.read_text(encoding="utf-8").splitlines()]
    merged: dict[tuple[str, ...], list[Any]] = {}
    for row in rows:
        key = (row[0], row[1], row[2], row[8], row[9])
        kept = merged.get(key)
        if kept is None:
            merged[key] = row
            continue
        points = kept[7] + row[7]
        if _share(row) > _share(kept):
            merged[key] = row
        merged[key][7] = points
    return [_shown(merged[key]) for key in sorted(merged)]


def _share(row: list[Any]) -> float:
    return float(row[5] / row[6]) if row[6] > 0 else 0.0


def _shown(row: list[Any]) -> dict[str, str]:
    figures = [f"{row[3]:.7g}", f"{row[4]:.7g}", f"{row[5]:.2g}", f"{row[6]:.2g}", str(row[7])]
    return dict(zip(COLUMNS, [*row[:3], *figures, row[8], row[9]], strict=True))


def read_snapshot() -> list[dict[str, str]]:
    """Return the rows on record."""
    with SNAPSHOT.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def differences(kept: list[dict[str, str]], new: list[dict[str, str]]) -> list[str]:
    """Return in what two records differ by more than a hundredth of a tolerance, a line each."""
    of = [{(r["file"], r["quantity"], r["source"]): r for r in rows} for rows in (kept, new)]
    found = [f"{' / '.join(key)}: only on one side" for key in sorted(of[0].keys() ^ of[1].keys())]
    for key in sorted(of[0].keys() & of[1].keys()):
        old, row = of[0][key], of[1][key]
        room = 0.01 * float(row["tolerance"]) + 1e-6 * max(1e-9, math.fabs(float(row["ours"])))
        if math.fabs(float(old["ours"]) - float(row["ours"])) > room or old["points"] != row["points"]:
            found.append(f"{' / '.join(key)}: {old['ours']} on record, {row['ours']} now")
    return found


def main(arguments: list[str]) -> int:
    """Write the record anew, or with ``--check`` compare it with a fresh one."""
    rows = gather()
    if "--check" in arguments:
        found = differences(read_snapshot(), rows)
        print("\n".join(found) or f"{len(rows)} comparisons as on record")  # noqa: T201
        return 1 if found else 0
    with SNAPSHOT.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, COLUMNS, lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)
    print(f"{SNAPSHOT.relative_to(ROOT)}: {len(rows)} comparisons")  # noqa: T201
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
