"""Write the town and plans of a seed and say what deviates, or table many seeds.

``python -m tests.whole_plan SEED [FOLDER]`` writes to FOLDER (default ``whole_plan_SEED``);
``python -m tests.whole_plan FIRST:LAST`` counts deviations by rule, with a seed of each.
"""

from __future__ import annotations

import sys
import tempfile
from collections import Counter
from pathlib import Path

from tests.whole_plan.runs import run_seed


def _table(first: int, last: int) -> None:
    answers: Counter[str] = Counter()
    holds: Counter[str] = Counter()
    rules: Counter[str] = Counter()
    seeds: dict[str, list[str]] = {}
    for seed in range(first, last):
        with tempfile.TemporaryDirectory() as folder:
            run = run_seed(seed, Path(folder))
        for name, answer in run.answers.items():
            answers[f"{name}: {answer}"] += 1
        holds.update(run.holds)
        for name, deviation in run.found:
            rules[deviation.rule] += 1
            seeds.setdefault(deviation.rule, []).append(f"{seed} {name} {deviation}")
            print(f"seed {seed} {name}: {deviation}", file=sys.stderr, flush=True)
    print(dict(answers))
    print(dict(holds))
    for rule, count in rules.most_common():
        towns = {line.split()[0] for line in seeds[rule]}
        print(f"{count:5d} in {len(towns):3d} towns  {rule}")
        for line in seeds[rule][:2]:
            print(f"        {line}")


def main() -> None:
    """Run as the module's help says."""
    asked = sys.argv[1]
    if ":" in asked:
        first, _, last = asked.partition(":")
        _table(int(first), int(last))
        return
    folder = Path(sys.argv[2] if len(sys.argv) > 2 else f"whole_plan_{asked}")
    folder.mkdir()
    run = run_seed(int(asked), folder, papers=True)
    print(f"{folder}: work {run.work}; {run.answers}; {dict(run.holds)}")
    for name, deviation in run.found:
        print(f"seed {asked} {name}: {deviation}")


if __name__ == "__main__":
    main()
