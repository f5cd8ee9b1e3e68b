"""Small towns where the program's rings are compared with the best of all there are."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from tests.whole_emergency.answer_case import AnswerCase, Breach, Row, rules_with
from tests.whole_emergency.asking import ask, rules_text
from tests.whole_emergency.exhaustive import EveryRing, every_ring
from tests.whole_emergency.hit_draws import drawn_hits
from tests.whole_emergency.runs import EmergencyRun, answer_of, rules_of
from tests.whole_emergency.small_towns import small_town
from tests.whole_plan.check import read_raw
from tests.whole_plan.making import write_layers

__all__ = ["run_small_town"]

KINDS = (
    "anywhere",
    "main with a valve",
    "dead end",
    "beside a station",
    "several mains",
    "on a node",
    "at a closed valve",
    "beside a closed valve",
    "wide error",
    "service",
)
ROUNDED_MIN = 0.051


def run_small_town(seed: int, folder: Path, most: int = 1000) -> EmergencyRun:
    """Compare the rings at places of a small town with the best of all, for one, some and enough crews.

    Parameters
    ----------
    seed : int
    folder : Path
        Empty.
    most : int
        So many places at most.
    """
    town, own = small_town(seed), rules_of(seed, {})
    source = folder / "town.gpkg"
    write_layers(town.layers(), source)
    (folder / "rules.toml").write_text(rules_text(own), encoding="utf-8")
    raw, run, rules = read_raw(source), EmergencyRun(), rules_with(own)
    rng = np.random.default_rng([22, 4, seed])
    hits = [(kind, words) for kind, words in drawn_hits(raw, rng) if kind in KINDS]
    for kind, words in hits[:most]:
        tried: dict[str, EveryRing | None] | None = None
        for crews in (1, 2, 3, 100):
            answered = ask(
                source,
                folder / f"out-{kind.replace(' ', '_')}-{crews}",
                [*words, "--crews", str(crews)],
                rules=folder / "rules.toml",
                cache=folder / "cache",
            )
            label = f"{kind} {' '.join(words)}, {crews} crews"
            if answered.code:
                run.found.append((label, Breach("no answer", answered.said[-400:])))
                continue
            case = answer_of(raw, rules, answered)
            run.found += [(label, breach) for breach in case.found]
            if tried is None:
                tried = {name: every_ring(case, name) for name in ("valves", "fastest")}
            for name, rings in tried.items():
                if rings is None:
                    run.holds[f"too many rings, {name}"] += 1
                    continue
                ring = next(
                    r for r in case.data["rings"] if r["kind"] == name and r["aim"] == "least minutes"
                )
                run.holds[f"{name}, {crews} crews"] += 1
                run.holds["proven" if ring["proof"]["optimal"] else "not proven"] += 1
                run.found += [(label, Breach(rule, what)) for rule, what in _apart(case, ring, rings, crews)]
    return run


def _apart(case: AnswerCase, ring: Row, rings: EveryRing, crews: int) -> list[tuple[str, str]]:
    """Return where a ring is not the best, or its bound is none."""
    name, said = ring["kind"], []
    stations = len(ring["stations_to_shut"])
    few = int(rings.stations.min())
    if stations != few:
        said.append(("fewest stations to shut", f"{name}: {stations}, {few} are enough"))
        return said
    best = rings.crews(crews) / 60.0
    if ring["proof"]["lower_bound_min"] > best + ROUNDED_MIN:
        said.append(("bound", f"{name}: {ring['proof']['lower_bound_min']} above {best:g} min"))
    if ring["minutes"] < best - ROUNDED_MIN:
        said.append(("sooner than any", f"{name}: {ring['minutes']} below {best:g} min"))
    if ring["proof"]["optimal"] and ring["minutes"] > best + ROUNDED_MIN:
        said.append(("called proven", f"{name}: {ring['minutes']}, the best takes {best:g} min"))
    if crews == 1:
        total = rings.one_crew()[1] / 60.0
        if abs(ring["minutes_sum"] - total) > ROUNDED_MIN:
            said.append(("least sum", f"{name}: {ring['minutes_sum']}, the best takes {total:g} min"))
    if crews >= 100:
        _, longest, total_s = rings.crews_enough()
        want = (longest / 60.0, total_s / 60.0)
        got = (ring["minutes"], ring["minutes_sum"])
        if max(abs(a - b) for a, b in zip(want, got, strict=True)) > ROUNDED_MIN:
            said.append(("least longest, then least sum", f"{name}: {got}, the best has {want}"))
        if not ring["proof"]["optimal"]:
            said.append(("crews enough: proven", name))
    return said
