"""Table what the emergency answers of many towns break.

``python -m tests.whole_emergency FIRST:LAST`` asks at places of every kind in the towns of these seeds;
``python -m tests.whole_emergency SEED`` says what deviates in one town.
"""

from __future__ import annotations

import sys
import tempfile
from collections import Counter
from collections.abc import Iterable
from pathlib import Path

from tests.whole_emergency.runs import run_town

SHOWN = 3


def _table(seeds: Iterable[int]) -> int:
    holds: Counter[str] = Counter()
    rules: dict[str, list[str]] = {}
    for seed in seeds:
        with tempfile.TemporaryDirectory() as folder:
            run = run_town(seed, Path(folder))
        holds.update(run.holds)
        for label, breach in run.found:
            rules.setdefault(breach.rule, []).append(f"seed {seed} {label}: {breach.what}")
            print(f"seed {seed} {label}: {breach}", file=sys.stderr, flush=True)
    for name, count in sorted(holds.items()):
        print(f"{count:6d}  {name}")
    print(f"{sum(map(len, rules.values()))} deviations")
    for rule, lines in sorted(rules.items(), key=lambda item: -len(item[1])):
        print(f"{len(lines):5d}  {rule}")
        for line in lines[:SHOWN]:
            print(f"        {line}")
    return 1 if rules else 0


def main() -> int:
    """Run as the module's help says."""
    asked = sys.argv[1]
    first, colon, last = asked.partition(":")
    return _table(range(int(first), int(last)) if colon else [int(first)])


if __name__ == "__main__":
    sys.exit(main())
