"""Many mutants, one after another, and what became of them.

    python -m tests.fuzz.mutants 20000
    python -m tests.fuzz.mutants 500 --first 7000 --on schutterwald

Each mutant is made from its seed alone, so that a run can be taken up again with ``--first``. Children do the
work: one that dies, or does not answer, is counted as a fault of the seed it was at.
"""

from __future__ import annotations

import argparse
import multiprocessing as mp
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from multiprocessing.connection import Connection
from pathlib import Path

from tests.fuzz.districts import NAMES, district
from tests.fuzz.trial import WALL_LIMIT_S, Outcome, try_seed

BATCH = 250
PATIENCE_S = 2 * WALL_LIMIT_S


def outcomes(first: int, count: int, towns: tuple[str, ...]) -> Iterator[Outcome]:
    """Yield the outcome of each seed, in order; children are started anew every so often."""
    context = mp.get_context("fork")
    for town in towns:
        district(town)
    seed, end = first, first + count
    while seed < end:
        receive, send = context.Pipe(duplex=False)
        last = min(seed + BATCH, end)
        child = context.Process(target=_work, args=(seed, last, towns, send), daemon=True)
        child.start()
        send.close()
        while seed < last:
            begun = time.perf_counter()
            try:
                if not receive.poll(PATIENCE_S):
                    raise EOFError
                outcome: Outcome = receive.recv()
            except EOFError:
                child.kill()
                child.join()
                words = f"the child died with {child.exitcode}, or hung outside of Python"
                outcome = Outcome(seed, "?", (), -1, "", time.perf_counter() - begun, words)
                yield outcome
                seed += 1
                break
            yield outcome
            seed += 1
        child.join(1.0)
        receive.close()


def _work(first: int, last: int, towns: tuple[str, ...], send: Connection) -> None:
    with tempfile.TemporaryDirectory() as folder:
        for seed in range(first, last):
            place = Path(folder) / "mutant"
            place.mkdir(exist_ok=True)
            send.send(try_seed(seed, place, towns))
    send.close()


def main() -> int:
    """Run the mutants and print a summary; 1 when there was any fault."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n", maxsplit=1)[0] if __doc__ else "")
    parser.add_argument("count", type=int, help="how many mutants")
    parser.add_argument("--first", type=int, default=0, help="seed of the first")
    parser.add_argument("--on", choices=["sample", "schutterwald", "both"], default="both", help="which town")
    given = parser.parse_args()
    only = {"both": NAMES, "sample": ("close", "lane"), "schutterwald": ("schutterwald",)}
    towns = only[given.on]
    begun, codes, faults, hows = time.perf_counter(), Counter[int](), list[Outcome](), Counter[str]()
    slowest: list[Outcome] = []
    for number, outcome in enumerate(outcomes(given.first, given.count, towns), start=1):
        codes[outcome.code] += 1
        hows[outcome.how] += 1
        slowest = sorted([*slowest, outcome], key=lambda o: -o.seconds)[:3]
        if outcome.fault:
            faults.append(outcome)
            print(f"FAULT {outcome.seed} {outcome.how} {outcome.damage}\n{outcome.fault}", flush=True)
        if number % BATCH == 0:
            minutes = (time.perf_counter() - begun) / 60
            print(f"{number} mutants, {minutes:.1f} min, {len(faults)} faults", flush=True)
    seconds = time.perf_counter() - begun
    print(
        f"\n{sum(codes.values())} mutants of {' and '.join(sorted(set(towns)))} from seed {given.first}, {seconds:.0f} s"
    )
    names = {0: "planned", 2: "bad input", 3: "no plan", -1: "FAULT"}
    for code, count in sorted(codes.items()):
        print(f"  {names.get(code, code)}: {count}")
    for how, count in sorted(hows.items()):
        print(f"  by {how}: {count}")
    for outcome in slowest:
        print(f"  slowest: seed {outcome.seed}, {outcome.seconds:.2f} s, {outcome.how}, {outcome.damage}")
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())
