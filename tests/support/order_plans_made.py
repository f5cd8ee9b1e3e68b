"""Plans made on the sample town for tests of the order, once a test process, and the states along their steps."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache

from netplan.cli.sample import sample_network
from netplan.network.model import Network
from netplan.network.work_section import WorkPart
from netplan.planfile.model import Option, Step
from netplan.planning.make_plan import make_plan
from netplan.planning.request import PlanRequest
from netplan.readers import read_network
from netplan.rules import read_rules

__all__ = ["States", "made_option", "states_through"]

States = dict[tuple[str, str], str]
"""State of every item, by kind and id."""

WORKS = {
    "stops of all kinds": (("M0142", 158.0, 162.0),),
    "two valves": (("M0154", 268.0, 274.0),),
    "squeeze alone": (("M0048", 50.0, 54.0),),
    "a shut valve": (("M0149", 40.0, 46.0),),
    "two sections": (("M0142", 100.0, 110.0), ("M0142", 130.0, 140.0)),
}


@cache
def _town() -> Network:
    return read_network(sample_network())


@cache
def made_option(name: str, rules: tuple[tuple[str, str, float], ...] = ()) -> Option:
    """Return the best option for a work section of `WORKS`, with some rules changed: table, name, value."""
    changed: dict[str, dict[str, float]] = {}
    for table, key, value in rules:
        changed.setdefault(table, {})[key] = value
    request = PlanRequest(
        network=_town(),
        parts=tuple(WorkPart(*one) for one in WORKS[name]),
        rules=read_rules(None, changed),
        weather=False,
        options=1,
    )
    return make_plan(request).plan.options[0]


def states_through(option: Option) -> Iterator[tuple[Step, States, States]]:
    """Yield each step with the states of all items before it, and once its changes are made."""
    now: States = {(item.kind, item.id): item.first for item in option.items}
    for step in option.steps:
        before = dict(now)
        for change in step.changes:
            assert now[change.kind, change.id] == change.from_
            now[change.kind, change.id] = change.to
        yield step, before, dict(now)
