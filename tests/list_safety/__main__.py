"""Many mutants of meaning, one after another, and what became of them.

    python -m tests.list_safety 2000
    python -m tests.list_safety 100 --first 700

Each mutant is made from its seed alone. With ``--write`` the table becomes docs/benchmarks/list-safety.md.
"""

from __future__ import annotations

import argparse
import sys
import time

from tests.list_safety.page import FAULTS, page, table
from tests.list_safety.trial import Outcome, trial

_EVERY = 100


def main(arguments: list[str]) -> int:
    """Run the mutants and print a table; 1 when there was a silent difference or a fault."""
    parser = argparse.ArgumentParser(prog="python -m tests.list_safety", description=__doc__)
    parser.add_argument("count", type=int, help="how many mutants")
    parser.add_argument("--first", type=int, default=0, help="seed of the first")
    parser.add_argument("--write", action="store_true", help="write docs/benchmarks/list-safety.md")
    parser.add_argument("--told", action="store_true", help="print what tells each difference")
    asked = parser.parse_args(arguments)
    begun, outcomes = time.perf_counter(), list[Outcome]()
    for seed in range(asked.first, asked.first + asked.count):
        outcome = trial(seed)
        outcomes.append(outcome)
        if outcome.result in FAULTS or (
            asked.told and outcome.result in ("told", "refused", "no plan", "no trace")
        ):
            words = (
                f"{outcome.result} {seed} {outcome.where}: {outcome.kind}: {outcome.words}: {outcome.detail}"
            )
            print(words[:1000], flush=True)
        if len(outcomes) % _EVERY == 0:
            print(f"{len(outcomes)} mutants, {(time.perf_counter() - begun) / 60:.1f} min", flush=True)
    for line in table(outcomes):
        print(line)
    if asked.write:
        print(f"wrote {page(outcomes, asked.first, time.perf_counter() - begun)}")
    return 1 if any(outcome.result in FAULTS for outcome in outcomes) else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
