"""One seed from the town to what its emergency answers break."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from tests.whole_emergency.answer_case import AnswerCase, Breach, Row, rules_with
from tests.whole_emergency.asking import Answered, ask, rules_text
from tests.whole_emergency.hit_draws import drawn_hits
from tests.whole_emergency.ring_checks import check_answer
from tests.whole_plan.check import read_raw
from tests.whole_plan.making import write_layers
from tests.whole_plan.towns import Town, random_town
from tests.whole_plan.walk import Raw

__all__ = ["EmergencyRun", "answer_of", "check_hit", "more_valves", "rules_of", "run_town"]

SAME = ("stations_to_shut", "do_first", "minutes", "minutes_sum", "customers_off", "meters")
"""What a ring that was ready has to have in common with the answer after its valve failed."""


@dataclass
class EmergencyRun:
    """What came of a seed: breaches with their place, and what the answers hold."""

    found: list[tuple[str, Breach]] = field(default_factory=list)
    holds: Counter[str] = field(default_factory=Counter)


def rules_of(seed: int, own: dict[str, Any]) -> dict[str, Any]:
    """Return the rules of a town with an emergency table drawn for its seed."""
    rng = np.random.default_rng([22, seed])
    emergency = {
        "keep_away_m": float(rng.choice([0.0, 10.0, 25.0, 25.0, 60.0])),
        "minutes_valve": float(rng.choice([5.0, 10.0, 20.0])),
        "minutes_squeeze": float(rng.choice([15.0, 75.0])),
        "minutes_bag": float(rng.choice([40.0, 150.0])),
        "meters_per_minute": float(rng.choice([0.5, 5.0])),
    }
    return {name: own[name] for name in ("method_general",) if name in own} | {"emergency": emergency}


def more_valves(town: Town) -> None:
    """Set further valves on the mains, most of them known to work, drawn apart: the towns stay as they are."""
    rng = np.random.default_rng([22, 2, town.seed])
    share = float(rng.choice([0.0, 0.2, 0.6]))
    for main in town.rows["mains"]:
        if rng.random() >= share:
            continue
        for k in range(int(rng.integers(1, 3))):
            spot = main["geometry"].interpolate(float(rng.uniform(0.03, 0.97)), normalized=True)
            row = {
                "id": f"VE{k}-{main['id']}",
                "state": str(rng.choice(["open", "open", "open", "unknown"])),
                "operable": str(rng.choice(["yes", "yes", "yes", "no"])),
                "geometry": spot,
            }
            town.rows["valves"].append(row | {"system": main.get("system", "LP")})


def answer_of(raw: Raw, rules: Row, answered: Answered) -> AnswerCase:
    """Return an answer checked."""
    case = AnswerCase(raw, rules, answered.data)
    check_answer(case)
    return case


def check_hit(
    raw: Raw, rules: Row, source: Path, folder: Path, words: list[str], run: EmergencyRun, kind: str
) -> None:
    """Ask for a place, check the answer, and the answer after each valve of its rings failed."""
    rules_file, cache = folder / "rules.toml", folder / "cache"
    label = f"{kind} {' '.join(words)}"
    first = ask(source, folder / f"out-{kind}", words, rules=rules_file, cache=cache)
    if first.code or not first.data:
        run.found.append((label, Breach("no answer", f"{first.code} {first.said[-400:]}")))
        return
    case = answer_of(raw, rules, first)
    run.found += [(label, breach) for breach in case.found]
    run.holds[kind] += 1
    _count(first.data, run.holds)
    asked = set()
    for k, ready in enumerate(first.data["next_rings"]):
        failed = tuple(ready["if_failed"])
        if len(failed) > 1 or failed in asked:
            continue
        asked.add(failed)
        again = [*words, *(w for ident in failed for w in ("--valve-failed", ident))]
        answered = ask(source, folder / f"out-{kind}-{k}", again, rules=rules_file, cache=cache)
        if answered.code or not answered.data:
            run.found.append((label, Breach("no answer after a valve failed", answered.said[-400:])))
            continue
        after = answer_of(raw, rules, answered)
        run.found += [(f"{label} without {failed}", breach) for breach in after.found]
        run.holds["valve failed"] += 1
        _same_as_ready(first.data, answered.data, failed, label, run)


def _same_as_ready(first: Row, after: Row, failed: tuple[str, ...], label: str, run: EmergencyRun) -> None:
    """Compare the rings that were ready for a valve with those of the answer once it failed."""
    for ready in first["next_rings"]:
        if tuple(ready["if_failed"]) != failed:
            continue
        own = ready["ring"]
        new = next(r for r in after["rings"] if r["kind"] == own["kind"] and r["aim"] == "least minutes")
        stops = [
            [(s["main_id"], s["chainage_m"], s["valve_id"], s["method"], s["minutes"]) for s in r["stops"]]
            for r in (own, new)
        ]
        same = stops[0] == stops[1] and all(own[key] == new[key] for key in SAME)
        if not same:
            run.found.append((label, Breach("not the ring that was ready", f"{failed} {own['kind']}")))


def _count(data: Row, holds: Counter[str]) -> None:
    marks = {
        "several hits": len(data["hits"]) > 1,
        "systems": len({hit["system"] for hit in data["hits"]}) > 1,
        "ring": bool(data["rings"]),
        "station to shut": any(ring["stations_to_shut"] for ring in data["rings"]),
        "squeeze": any(stop["kind"] == "squeeze" for r in data["rings"] for stop in r["stops"]),
        "bag": any(stop["kind"] == "bag" for r in data["rings"] for stop in r["stops"]),
        "valve": any(stop["kind"] == "valve" for r in data["rings"] for stop in r["stops"]),
        "fewer meters": any(ring["aim"] != "least minutes" for ring in data["rings"]),
        "ring ready": bool(data["next_rings"]),
        "sensing": any("senses" in line for r in data["rings"] for line in r["do_first"]),
        "closed valve": any("closed" in line for r in data["rings"] for line in r["do_first"]),
        "second service": any("another service" in line for r in data["rings"] for line in r["do_first"]),
        "not proven": any(not ring["proof"]["optimal"] for ring in data["rings"]),
        "nobody off": any(not ring["customers_off"] for ring in data["rings"]),
    }
    holds.update(name for name, there in marks.items() if there)


def run_town(seed: int, folder: Path, most: int = 1000) -> EmergencyRun:
    """Draw the town of a seed and check the answers at a place of each kind, `most` of them."""
    town = random_town(seed)
    more_valves(town)
    own = rules_of(seed, town.rules)
    source = folder / "town.gpkg"
    write_layers(town.layers(), source)
    (folder / "rules.toml").write_text(rules_text(own), encoding="utf-8")
    raw, run, rules = read_raw(source), EmergencyRun(), rules_with(own)
    rng = np.random.default_rng([22, 1, seed])
    hits = list(drawn_hits(raw, rng))
    chosen = sorted(rng.permutation(len(hits))[:most].tolist())
    for kind, words in (hits[at] for at in chosen):
        crews = int(rng.choice([1, 1, 2, 3, 30]))
        check_hit(raw, rules, source, folder, [*words, "--crews", str(crews)], run, kind.replace(" ", "_"))
    run.holds.update(f"town: {kind}" for kind in town.kinds)
    return run
