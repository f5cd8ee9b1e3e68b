"""One seed from the town to what deviates: planned with feeds and without, every file checked."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

from tests.whole_plan.case import Deviation
from tests.whole_plan.check import check_folder, read_raw
from tests.whole_plan.making import plan_town, write_layers
from tests.whole_plan.order import check_laws, is_broken
from tests.whole_plan.towns import random_town

__all__ = ["PAPERS_EVERY", "Run", "run_seed"]

PREPARED_EVERY = 4
"""The rules prepare fallbacks for one seed in so many."""
PAPERS_EVERY = 6
"""Work packs, letters and sheets are set for one seed in so many: they are slow."""


@dataclass
class Run:
    """What came of a seed: answers by way of planning, deviations, and what towns and plans hold."""

    work: tuple[object, ...] = ()
    answers: dict[str, str] = field(default_factory=dict)
    why: dict[str, str] = field(default_factory=dict)
    found: list[tuple[str, Deviation]] = field(default_factory=list)
    holds: Counter[str] = field(default_factory=Counter)


def run_seed(seed: int, folder: Path, *, papers: bool | None = None) -> Run:
    """Draw the town of a seed, plan it with feeds and without, and check both plan folders."""
    town = random_town(seed)
    town.rules["fallback"] = {"prepared": seed % PREPARED_EVERY == 0}
    source = folder / "town.gpkg"
    write_layers(town.layers(), source)
    run, raw = Run(work=town.work), read_raw(source)
    run.holds.update(f"town: {kind}" for kind in town.kinds)
    for name, feeds in (("feeds", True), ("no feeds", False)):
        out = folder / name.replace(" ", "_")
        wanted = papers if papers is not None else seed % PAPERS_EVERY == 0 and feeds
        made = plan_town(town, source, out, feeds=feeds, papers=wanted)
        run.answers[name] = made.answer
        run.why[name] = made.why
        if made.answer == "no plan" and "keeps every law" in made.why and is_broken(made.why):
            run.found.append((name, Deviation("every option dropped for a law", 0, made.why)))
        if made.folder is not None:
            checked = check_folder(raw, made.folder, town.own_supply, feeds=feeds)
            run.found += [(name, deviation) for deviation in (*checked.found, *check_laws(made.folder))]
            run.holds += checked.holds
    return run
