"""What the program makes of an export: a list, or why there is none; and whether a difference was told."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any, Final

from netplan.core.errors import NetplanError, NoPlanError
from netplan.network.work_section import WorkPart
from netplan.planfile import model
from netplan.planfile.plan_result import PlanResult
from netplan.planning.make_plan import PlanRequest, make_plan
from netplan.readers import read_mapping, read_network
from netplan.rules import Rules, read_rules
from tests.list_safety.mutant import Change

__all__ = ["CustomerList", "Made", "Row", "differences", "list_of", "made_from", "planned", "told"]

_SAME_M: Final = 0.6
"""A stop that moves less than a valve may be drawn beside its main is the same stop [m]."""
Row = tuple[str, str, str]
"""Layer, feature and words of one thing that the plan says is doubtful."""
_OF_RECORDS: Final = ("record in doubt", "records in doubt", "no customer is recorded on")
"""Warnings of an option that are about the data; others name features too, for what is done at them."""
_PEOPLE: Final = ("address", "street", "number", "postcode", "priority", "language")


@dataclass(frozen=True, slots=True)
class CustomerList:
    """What people act on: who is off or kept and why, who is on standby or in doubt, where to stop and feed.

    Parameters
    ----------
    effect : dict
        Effect and cause by customer.
    standby, in_doubt : frozenset of str
    people : dict
        Address, street, number, postcode, priority, language and meters of everybody named, by customer.
    stops : frozenset
        Main, chainage and kind of each stop.
    feeds : frozenset
        Mains and bore of each bypass, or the valve opened.
    """

    effect: Mapping[str, tuple[str, str]]
    standby: frozenset[str]
    in_doubt: frozenset[str]
    people: Mapping[str, tuple[Any, ...]]
    stops: frozenset[tuple[Any, ...]]
    feeds: frozenset[tuple[Any, ...]]


@dataclass(frozen=True, slots=True)
class Made:
    """What became of an export: a list with what is told beside it, or one line that says why there is none."""

    customers: CustomerList | None
    said: tuple[Row, ...] = ()
    refusal: str = ""
    no_plan: bool = False


@lru_cache(maxsize=1)
def _rules() -> Rules:
    budget = {"choice": {"max_solves": 400, "max_zones": 40}, "bypass": {"bores_mm": [32.0, 63.0]}}
    return read_rules(None, budget)


def planned(place: Path, mapping: Path | None, work: WorkPart) -> PlanResult:
    """Read an export and plan the work section, as ``gas-netplan plan`` does."""
    network = read_network(place, mapping=None if mapping is None else read_mapping(mapping))
    return make_plan(PlanRequest(network, (work,), _rules(), air_temp_c=4.0, options=1, weather=False))


def made_from(place: Path, mapping: Path | None, work: WorkPart) -> Made:
    """Return what the program makes of an export; a fault of the program passes through."""
    try:
        result = planned(place, mapping, work)
    except NetplanError as error:
        lines = (str(error), *error.noticed)
        return Made(None, refusal=" | ".join(lines), no_plan=isinstance(error, NoPlanError))
    return Made(list_of(result), tuple(sorted(set(_said(result.plan)))))


def list_of(result: PlanResult) -> CustomerList:
    """Return what people act on of the best option."""
    option = result.plan.options[0]
    effect = {customer.id: (customer.effect, customer.cause) for customer in option.customers}
    in_doubt = frozenset(row.id for row in option.in_doubt)
    standby = frozenset(option.standby)
    everyone = result.network.customers
    columns = [getattr(everyone, name) for name in _PEOPLE]
    people = {}
    for name in sorted({*effect, *in_doubt, *standby}):
        row = everyone.id.find(name)
        people[name] = (*(column[row] for column in columns), int(everyone.meters[row]))
    stops = frozenset((stop.main_id, round(stop.chainage_m, 1), stop.kind) for stop in option.stops)
    feeds = frozenset(
        (feed.from_.main_id, feed.to.main_id, feed.bore_mm, feed.parallel) for feed in option.bypasses
    ) | frozenset((valve.valve_id,) for valve in option.opened_valves)
    return CustomerList(effect, standby, in_doubt, people, stops, feeds)


def _said(plan: model.Plan) -> Iterable[Row]:
    for finding in plan.findings:
        # A note counts for columns alone that a source may well do without, such as the street beside the address.
        if finding.severity != "note" or finding.code == "column-absent":
            yield finding.layer, finding.feature_id, finding.what
    for line in plan.options[0].warnings:
        if line.startswith(_OF_RECORDS):
            yield "", "", line
    for row in plan.options[0].in_doubt:
        yield row.layer, row.record_id, row.why
        yield "customers", row.id, row.why
    for doubt in plan.options[0].trust.would_change:
        yield doubt.layer, doubt.feature_id, f"{doubt.taken_as}; {doubt.what}"


def differences(true: CustomerList, found: CustomerList, ids: Mapping[str, str]) -> list[str]:
    """Return what differs between the true list and another one, in words; empty for nothing.

    Parameters
    ----------
    ids : mapping
        Old id by new id, where ids are written otherwise.
    """

    def old(name: Any) -> Any:
        return ids.get(name, name) if isinstance(name, str) else name

    found_effect = {old(name): effect for name, effect in found.effect.items()}
    people = {old(name): tuple(of) for name, of in found.people.items()}
    result = [
        f"{name}: {true.effect.get(name)} became {found_effect.get(name)}"
        for name in sorted({*true.effect, *found_effect})
        if true.effect.get(name) != found_effect.get(name)
    ]
    for what, one, other in (
        ("standby", true.standby, frozenset(map(old, found.standby))),
        ("in doubt", true.in_doubt, frozenset(map(old, found.in_doubt))),
    ):
        if one != other:
            result.append(f"{what}: less {sorted(one - other)}, more {sorted(other - one)}")
    result += [
        f"{name}: {true.people[name]} became {people[name]}"
        for name in sorted({*true.people} & {*people})
        if true.people[name] != people[name]
    ]
    for what, stands, stood in (("stops", true.stops, found.stops), ("feeds", true.feeds, found.feeds)):
        now = frozenset(tuple(old(value) for value in each) for each in stood)
        if not _alike(sorted(stands), sorted(now)):
            result.append(f"{what}: {sorted(stands - now)} became {sorted(now - stands)}")
    return result


def _alike(some: list[tuple[Any, ...]], others: list[tuple[Any, ...]]) -> bool:
    """Return whether stops or feeds are the same, their chainages to the reach of a drawn place."""
    return len(some) == len(others) and all(
        len(one) == len(other)
        and all(
            abs(a - b) <= _SAME_M if isinstance(a, float) and isinstance(b, float) else a == b
            for a, b in zip(one, other, strict=True)
        )
        for one, other in zip(some, others, strict=True)
    )


def told(change: Change, said: Iterable[Row]) -> list[Row]:
    """Return what names the layer and a column of a change, or one of its features."""
    words = {word.strip() for word in (*change.names, *change.features)} - {""}
    pattern = re.compile("|".join(rf"(?<![\w-]){re.escape(word)}(?![\w-])" for word in sorted(words)) or "$^")
    return [
        row
        for row in said
        if (not row[0] or row[0] in change.layers)
        and (row[1] in change.features or (pattern.search(row[2]) is not None))
    ]
