"""Who is without gas, from the true town: by its own plan, and by a walk that shares no code with the program."""

from __future__ import annotations

from pathlib import Path

from netplan.planfile.model import Option
from netplan.planfile.plan_json import read_plan
from tests.first_hour.export import Export
from tests.first_hour.town import WORK
from tests.support.independent import Spot, Walker
from tests.whole_plan.making import write_layers

__all__ = ["effects", "true_lists", "write_true_town"]


def write_true_town(export: Export, place: Path) -> Path:
    """Write the town in the words of the contract."""
    write_layers(export.layers, place)
    return place


def effects(plan: Path) -> list[dict[str, str]]:
    """Return what each option does to each customer on its list."""
    return [{one.id: one.effect for one in option.customers} for option in read_plan(plan).options]


def true_lists(export: Export, option: Option) -> tuple[set[str], set[str]]:
    """Return who is cut off from the stations by the stops of an option, and who of them its feeds do not reach.

    Ids are those of the export. The test grid has true lengths, so chainages are planar ones.
    """
    walker = Walker(export.layers)
    town = {name: ident for ident, name in export.ids["mains"].items()}
    valves = {name: ident for ident, name in export.ids["valves"].items()}
    cuts = [(town[stop.main_id], stop.chainage_m) for stop in option.stops if not stop.valve_id]
    shut = frozenset(valves[stop.valve_id] for stop in option.stops if stop.valve_id)
    bare = walker.walk(cuts, [WORK], closed=shut)
    links: tuple[tuple[Spot, Spot], ...] = tuple(
        ((town[feed.from_.main_id], feed.from_.chainage_m), (town[feed.to.main_id], feed.to.chainage_m))
        for feed in option.bypasses
    )
    fed = walker.walk(cuts, [WORK], closed=shut, links=links)
    ids = export.ids["customers"]
    return (
        {ids[name] for name in bare.isolated | bare.stranded},
        {ids[name] for name in fed.isolated | fed.stranded},
    )
