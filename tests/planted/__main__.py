"""Plant faults one at a time and print which test catches each: ``python -m tests.planted``."""

from __future__ import annotations

import argparse
import sys
import time

from tests.planted.faults import areas, faults
from tests.planted.page import write_page
from tests.planted.run import failing_without_fault, run_all, tree_copies


def main(arguments: list[str]) -> int:
    """Return 0 when every fault is caught, 1 when one is not, 2 when the tests fail without any fault."""
    parser = argparse.ArgumentParser(prog="python -m tests.planted", description=__doc__)
    parser.add_argument("--only", nargs="+", metavar="ID", default=[], help="these faults alone")
    parser.add_argument("--area", nargs="+", choices=areas(), default=[], help="faults of these areas alone")
    parser.add_argument("--workers", type=int, default=2, help="how many at a time (default 2)")
    parser.add_argument(
        "--no-baseline", action="store_true", help="do not run the tests without a fault first"
    )
    parser.add_argument("--list", action="store_true", help="print the faults and plant none")
    parser.add_argument(
        "--write", action="store_true", help="write docs/planted-faults.md; faults left out keep their lines"
    )
    asked = parser.parse_args(arguments)
    unknown = set(asked.only) - {fault.id for fault in faults()}
    if unknown:
        parser.error(f"no fault of the name {', '.join(sorted(unknown))}")
    chosen = [
        fault
        for fault in faults()
        if (not asked.only or fault.id in asked.only) and (not asked.area or fault.area in asked.area)
    ]
    if asked.list:
        for fault in chosen:
            print(f"{fault.area:12} {fault.id:36} {fault.what}")
        return 0
    began = time.monotonic()
    with tree_copies(max(1, min(asked.workers, len(chosen)))) as copies:
        failing = [] if asked.no_baseline else failing_without_fault(copies, chosen)
        for line in failing:
            print(f"fails without any fault: {line}")
        if failing:
            return 2
        if not asked.no_baseline:
            print(f"the tests pass without any fault, {time.monotonic() - began:.0f} s", flush=True)
        outcomes = []
        for outcome in run_all(copies, chosen):
            outcomes.append(outcome)
            said = f"caught by {outcome.caught_by}" if outcome.caught_by else f"NOT CAUGHT: {outcome.remark}"
            print(f"{outcome.fault.id}: {said}, {outcome.seconds:.0f} s", flush=True)
    caught = sum(1 for outcome in outcomes if outcome.caught_by)
    uncaught = len(outcomes) - caught
    took = (time.monotonic() - began) / 60.0
    print(f"{len(outcomes)} planted, {caught} caught, {uncaught} uncaught, {took:.0f} min")
    if asked.write and not uncaught:
        print(f"wrote {write_page(outcomes)}")
    return 1 if uncaught else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
