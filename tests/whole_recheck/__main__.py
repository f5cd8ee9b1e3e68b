"""Recheck plans of random towns whose records change, and table where others find otherwise.

``python -m tests.whole_recheck FIRST:LAST`` counts cases and disagreements, with the seed of each;
``python -m tests.whole_recheck SEED FOLDER`` keeps the files of one seed.
"""

from __future__ import annotations

import sys
import tempfile
from collections import Counter
from pathlib import Path

from tests.whole_recheck.runs import Run, run_seed


def _say(seed: int, run: Run) -> None:
    for line in run.found:
        print(f"seed {seed}: {line}; changes {run.changes}", flush=True)


def main() -> None:
    """Run as the module's help says."""
    asked = sys.argv[1]
    if ":" not in asked:
        folder = Path(sys.argv[2])
        folder.mkdir()
        run = run_seed(int(asked), folder)
        print(run.changes, dict(run.holds))
        _say(int(asked), run)
        return
    first, _, last = asked.partition(":")
    holds: Counter[str] = Counter()
    found = 0
    for seed in range(int(first), int(last)):
        with tempfile.TemporaryDirectory(prefix="recheck-") as made:
            run = run_seed(seed, Path(made))
        _say(seed, run)
        holds += run.holds
        found += len(run.found)
    for name, count in sorted(holds.items()):
        print(f"{count:5d}  {name}")
    print(f"{found} disagreements")


if __name__ == "__main__":
    main()
