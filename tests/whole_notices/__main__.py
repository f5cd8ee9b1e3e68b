"""Check the notices of many pairs of plans: ``python -m tests.whole_notices FIRST:LAST``.

``python -m tests.whole_notices SEED [FOLDER]`` writes both plans and the notices of one pair to FOLDER (default
``whole_notices_SEED``).
"""

from __future__ import annotations

import sys
import tempfile
from collections import Counter
from pathlib import Path

from tests.whole_notices.pairs import run_pair


def _table(first: int, last: int) -> int:
    holds: Counter[str] = Counter()
    deviations = pairs = 0
    for seed in range(first, last):
        with tempfile.TemporaryDirectory() as folder:
            run = run_pair(seed, Path(folder))
        holds.update(run.holds)
        pairs += run.compared
        for line in run.found:
            deviations += 1
            print(f"seed {seed} ({run.kinds}): {line}", file=sys.stderr, flush=True)
    print(f"{pairs} pairs compared of {last - first} seeds, {deviations} deviations")
    for kind, count in sorted(holds.items()):
        print(f"{count:6d}  {kind}")
    return 1 if deviations else 0


def main() -> int:
    """Run as the module's help says."""
    asked = sys.argv[1]
    if ":" in asked:
        first, _, last = asked.partition(":")
        return _table(int(first), int(last))
    folder = Path(sys.argv[2] if len(sys.argv) > 2 else f"whole_notices_{asked}")
    folder.mkdir()
    run = run_pair(int(asked), folder)
    print(f"{folder}: {run.kinds}; compared {run.compared}; {dict(run.holds)}")
    for line in run.found:
        print(line)
    return 1 if run.found else 0


if __name__ == "__main__":
    sys.exit(main())
