"""Random work sections ranked one by one: ``python -m tests.benchmarks.sections TOWN [options]``.

TOWN is ``sample``, ``schutterwald`` or ``both``. Prints the processor seconds to rank (p50, p95, greatest), the shares
proven, and every section without a proof or without a plan, with its reasons. Setting up is counted, reading the
network is not. ``--before FOLDER`` ranks every section with another checkout as well, turn by turn in one
run, and says where plans differ.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import subprocess
import sys
import time
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any, Final

import numpy as np

LENGTH_M: Final = 6.0
TOWNS: Final = ("sample", "schutterwald")
HERE: Final = Path(__file__).resolve()
SHOWN: Final = 150
"""Letters of a reason that are printed."""


def places(network: Any, count: int, seed: int) -> list[tuple[str, float, float]]:
    """Return random work sections of 6 m, on mains drawn by their length."""
    rng = random.Random(seed)  # noqa: S311
    lengths = network.pipes.length_m[: network.pipes.n_mains]
    rows = [row for row, length in enumerate(lengths.tolist()) if length > LENGTH_M + 2.0]
    drawn = rng.choices(rows, weights=[lengths[row] for row in rows], k=count)
    starts = [rng.uniform(1.0, float(lengths[row]) - LENGTH_M - 1.0) for row in drawn]
    return [
        (network.pipes.id[row], round(at, 2), round(at + LENGTH_M, 2))
        for row, at in zip(drawn, starts, strict=True)
    ]


def town_of(name: str) -> tuple[Any, Any, float | None]:
    """Return the network, the rules and the air temperature of a town [°C]."""
    from netplan.network.build import build_network
    from netplan.readers import read_network
    from netplan.rules import read_rules

    if name == "sample":
        from netplan.cli.sample import sample_network

        return read_network(sample_network()), read_rules(), None
    from tests.support import schutterwald

    return (
        build_network(schutterwald.layers(), strict=False),
        schutterwald.pinned_rules(),
        schutterwald.MILD_C,
    )


def ranked(town: tuple[Any, Any, float | None], place: Sequence[Any], *, orders: bool) -> dict[str, Any]:
    """Rank one section and return its options, what is proven, and the seconds it took."""
    from netplan.core.errors import NetplanError
    from netplan.network.work_section import WorkPart, work_section
    from netplan.planning.blocking_orders import lifted_orders
    from netplan.planning.context import PlanningContext
    from netplan.planning.rank import rank
    from netplan.planning.request import PlanRequest

    network, rules, air_c = town
    parts = (WorkPart(*place),)
    found: dict[str, Any] = {"place": list(place), "options": [], "reasons": [], "lifted": []}
    start = time.process_time()
    context = PlanningContext.for_request(PlanRequest(network, parts, rules, air_temp_c=air_c))
    try:
        ranking = rank(context, work_section(network, parts), lambda _: None)
    except NetplanError as error:
        found["seconds"] = time.process_time() - start
        found["proof"] = "none found" if getattr(error, "cut_short", False) else "proven: none"
        found["reasons"] = [str(error), *getattr(error, "reasons", ())]
        if orders:
            start = time.process_time()
            found["lifted"] = [f"{one.kind} {' '.join(one.names)}" for one in lifted_orders(context)]
            found["seconds_orders"] = time.process_time() - start
    else:
        found["seconds"] = time.process_time() - start
        shown = [
            option.burden_minor <= ranking.lower_bound_minor(k) for k, option in enumerate(ranking.options)
        ]
        found["proof"] = "all proven" if shown[-1] else "best proven" if shown[0] else "open"
        found["reasons"] = [ranking.reason]
        found["cuts"] = ranking.cuts_priced
        found["options"] = [
            {
                "burden": option.burden_minor,
                "stops": sorted([s.pipe, round(s.chainage_m, 3), s.method] for s in option.cut.stops),
                "off": option.off.tolist(),
            }
            for option in ranking.options
        ]
    found["solves"] = context.solutions.done
    return found


def serve(name: str, *, orders: bool) -> None:
    """Rank the sections that come by standard input, one a line of JSON, and answer each with one."""
    town = town_of(name)
    _print({"town": name})
    for line in sys.stdin:
        _print(ranked(town, json.loads(line), orders=orders))


def _print(what: Any) -> None:
    sys.stdout.write(json.dumps(what) + "\n")
    sys.stdout.flush()


class Checkout:
    """The program of one folder, which ranks sections in a process of its own."""

    def __init__(self, folder: Path, name: str, *, orders: bool) -> None:
        more = ["--orders"] if orders else []
        self._process = subprocess.Popen(  # noqa: S603
            [sys.executable, "-P", str(HERE), name, "--serve", *more],
            cwd=folder,
            env={**os.environ, "PYTHONPATH": str(folder)},
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )
        self._read()

    def rank(self, place: Sequence[Any]) -> dict[str, Any]:
        """Return the answer for one section."""
        assert self._process.stdin is not None
        self._process.stdin.write(json.dumps(place) + "\n")
        self._process.stdin.flush()
        return self._read()

    def end(self) -> None:
        """End the process."""
        self._process.communicate()

    def _read(self) -> dict[str, Any]:
        assert self._process.stdout is not None
        line = self._process.stdout.readline()
        if not line:
            raise RuntimeError(f"the process that ranks ended with code {self._process.wait()}")
        answer: dict[str, Any] = json.loads(line)
        return answer


def summary(title: str, answers: Sequence[dict[str, Any]]) -> Iterator[str]:
    """Yield the lines of one version: seconds, shares, and the sections that are not proven or have no plan."""
    count = len(answers)
    yield f"{title}: {count} sections"
    for what, key in (("to rank", "seconds"), ("to name orders that would free it", "seconds_orders")):
        some = [answer[key] for answer in answers if key in answer]
        if some:
            p50, p95 = np.percentile(some, [50, 95])
            yield f"  processor seconds {what} ({len(some)}): p50 {p50:.2f}, p95 {p95:.2f}, greatest {max(some):.2f}"
    for proof in ("all proven", "best proven", "open", "proven: none", "none found"):
        some = [answer for answer in answers if answer["proof"] == proof]
        yield f"  {proof}: {len(some)} ({100 * len(some) / count:.1f} %)"
    for answer in answers:
        if answer["proof"] in ("open", "proven: none", "none found"):
            main_id, low, high = answer["place"]
            took = f"{answer['seconds']:.2f} s, {answer['solves']} solutions"
            if "seconds_orders" in answer:
                took += f", {answer['seconds_orders']:.2f} s for orders"
            yield f"  {main_id} {low:g}-{high:g}: {answer['proof']}, {took}"
            yield from (f"      {reason[:SHOWN]}" for reason in answer["reasons"])
            yield from (f"      would give a plan: {lifted}" for lifted in answer["lifted"])


def differences(old: Sequence[dict[str, Any]], new: Sequence[dict[str, Any]]) -> Iterator[str]:
    """Yield a line for each section on which two versions do not list the same options."""
    same = proofs = 0
    for one, other in zip(old, new, strict=True):
        proofs += one["proof"] != other["proof"]
        if one["options"] == other["options"]:
            same += 1
            continue
        burdens = [[option["burden"] for option in answer["options"]] for answer in (one, other)]
        yield f"  {' '.join(map(str, one['place']))}: {burdens[0]} -> {burdens[1]}"
    yield f"  the same options in {same} of {len(new)} sections; another proof in {proofs}"


def compared(name: str, given: argparse.Namespace) -> dict[str, list[dict[str, Any]]]:
    """Rank the sections of one town with this version, and with the one before where there is one."""
    wanted = places(town_of(name)[0], given.sections, given.seed)
    folders = {"now": HERE.parents[2], **({"before": given.before} if given.before else {})}
    checkouts = {
        key: Checkout(folder.resolve(), name, orders=given.orders) for key, folder in folders.items()
    }
    answers: dict[str, list[dict[str, Any]]] = {key: [] for key in folders}
    for number, place in enumerate(wanted, 1):
        for key, checkout in checkouts.items():
            answers[key].append(checkout.rank(place))
        took = ", ".join(
            f"{key} {some[-1]['seconds']:.2f} s, {some[-1]['proof']}" for key, some in answers.items()
        )
        sys.stderr.write(f"{name} {number} of {len(wanted)} {place[0]} {place[1]:g}: {took}\n")
    for checkout in checkouts.values():
        checkout.end()
    return answers


def main(arguments: Sequence[str]) -> int:
    """Rank, print, and write the answers where a file is named."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("town", choices=(*TOWNS, "both"))
    parser.add_argument("--sections", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument(
        "--before", type=Path, help="folder of another checkout to rank the same sections with"
    )
    parser.add_argument(
        "--orders", action="store_true", help="name orders that would free a section without a plan"
    )
    parser.add_argument("--write", type=Path, help="file for all answers, as JSON")
    parser.add_argument("--serve", action="store_true", help=argparse.SUPPRESS)
    given = parser.parse_args(arguments)
    if given.serve:
        serve(given.town, orders=given.orders)
        return 0
    answers = {name: compared(name, given) for name in (TOWNS if given.town == "both" else (given.town,))}
    if given.write:
        given.write.write_text(json.dumps(answers, indent=1))
    for name, of_town in answers.items():
        for key, some in of_town.items():
            sys.stdout.write("\n".join(summary(f"{name}, {key}", some)) + "\n")
        if "before" in of_town:
            sys.stdout.write("\n".join(differences(of_town["before"], of_town["now"])) + "\n")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
