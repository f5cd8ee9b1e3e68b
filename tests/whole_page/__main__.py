"""Save random orders by page and by the command that it shows: ``python -m tests.whole_page FIRST:LAST``.

A seed each; one line for each that differs. Of all of them `tests/laws/test_page_session.py` runs one.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from pathlib import Path

import numpy as np

from netplan.cli.sample import sample_network
from netplan.readers import read_network
from tests.support.page_cases import random_orders, saved_both_ways


def main(arguments: list[str]) -> int:
    """Return 0 where nothing differs."""
    parser = argparse.ArgumentParser(prog="python -m tests.whole_page", description=__doc__)
    parser.add_argument("seeds", help="FIRST:LAST, the last one left out")
    first, last = map(int, parser.parse_args(arguments).seeds.split(":"))
    network, wrong = read_network(sample_network(), set_aside=True), 0
    for seed in range(first, last):
        rng = np.random.default_rng(seed)
        orders = random_orders(network, rng, mild=bool(rng.random() < 0.3))
        with tempfile.TemporaryDirectory() as folder:
            differs = saved_both_ways(network, orders, Path(folder), "plan")
        if differs:
            wrong += 1
            sys.stdout.write(f"{seed}: {differs}: {orders.model_dump_json()}\n")
            sys.stdout.flush()
    sys.stdout.write(f"{last - first} orders, {wrong} differ\n")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
