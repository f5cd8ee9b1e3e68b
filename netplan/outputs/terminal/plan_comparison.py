"""Plans of the same work side by side: the best option of each, and what they were made under."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any, Final

from rich.console import Console
from rich.panel import Panel
from rich.text import Text

from netplan.core.errors import BadInputError
from netplan.network.vocabulary import Category
from netplan.outputs.figures_for_rules import figures_for_plan
from netplan.outputs.number_format import METRIC, UNKNOWN, Figures
from netplan.outputs.terminal.column_layout import TableColumn, print_table
from netplan.outputs.terminal.plan_summary import NOT_CALCULATED
from netplan.outputs.terminal.wrapped_lines import print_lines, print_list
from netplan.planfile.model import Plan, WorkItem
from netplan.planfile.option_differences import differences_in_words, outline_of

__all__ = ["Difference", "PlanRow", "compare_plans", "differences", "print_comparison"]

WORDS_OF_THE_TABLE: Final = (
    "holes: places where the ground is opened; feed: a bypass, a hose or an opened valve; "
    "burden: the price of an option by the rules"
)
ABSENT: Final = "not there"
NO_OPINION: Final = frozenset({"demand_parts", "note"})
"""Conditions that follow from others or only say them again."""


@dataclass(frozen=True, slots=True)
class PlanRow:
    """A plan in one line: its best option.

    Parameters
    ----------
    name : str
        Names the plan for people.
    stops, holes : int
        Stops, and excavations they take.
    meters_off : dict
        Meters that are off by word of the category, in the order of the categories.
    meters_kept : int
        Meters fed by a bypass, hose or opened valve, that would be off or too low without.
    standby : int
        Customers that go off only if a planned stop fails and its fallback is used.
    gas_m3 : float or None
        Gas lost [m³ at 15 °C, 101.325 kPa].
    coldest_c : float or None
        Coldest air temperature at which the option holds as planned [°C]; None: not found.
    burden : float
        [currency].
    currency : str
    proven : bool
        Whether nothing cheaper exists on the recorded data.
    least_mbar : float or None
        Least pressure at a kept meter inlet once the stops are in [mbar gauge].
    places : tuple of str
        Method, main and chainage or valve of each stop.
    air_temp_c : float or None
        Air temperature planned for, at the worst hour [°C].
    """

    name: str
    stops: int
    holes: int
    meters_off: Mapping[str, int]
    meters_kept: int
    standby: int
    gas_m3: float | None
    coldest_c: float | None
    burden: float
    currency: str
    proven: bool
    least_mbar: float | None
    places: tuple[str, ...]
    air_temp_c: float | None = None


@dataclass(frozen=True, slots=True)
class Difference:
    """A condition, rule or order in which plans differ: its key, and its value in each plan."""

    key: str
    values: tuple[str, ...]


def compare_plans(plans: Sequence[tuple[str, Plan]], units: Figures = METRIC) -> tuple[PlanRow, ...]:
    """Return one row for each plan, in the order given.

    Parameters
    ----------
    plans : sequence of (str, Plan)
        Name and plan; at least two, all of the same work.
    units : Figures
        How chainages are written.

    Raises
    ------
    BadInputError
        When there are fewer than two plans, one has no option, or they are of different work.
    """
    if len(plans) < 2:
        raise BadInputError("compare: only one plan folder was given; give two or more")
    first_name, first = plans[0]
    for name, plan in plans:
        if _work(plan) != _work(first):
            raise BadInputError(
                f"compare: {name} is a plan of {_work_words(plan.work, units)}, "
                f"{first_name} of {_work_words(first.work, units)}; give plans of the same work"
            )
        if not plan.options:
            raise BadInputError(f"compare: {name} holds no option; plan again")
    return tuple(_row(name, plan, units) for name, plan in plans)


def differences(plans: Sequence[Plan]) -> tuple[Difference, ...]:
    """Return every condition, rule and order in which the plans differ; and whether the network does.

    A value that a plan does not carry is given as "not there".
    """
    flat = [_made_under(plan) for plan in plans]
    keys = dict.fromkeys(key for values in flat for key in values)
    rows = (Difference(key, tuple(values.get(key, ABSENT) for values in flat)) for key in keys)
    return tuple(row for row in rows if len(set(row.values)) > 1)


def print_comparison(plans: Sequence[tuple[str, Plan]], console: Console, *, units: Figures = METRIC) -> None:
    """Print the plans side by side for people; text from the data is shown as it is, never as markup.

    Raises
    ------
    BadInputError
        As `compare_plans`.
    """
    units = figures_for_plan(units, *(plan for _, plan in plans))
    rows = compare_plans(plans, units)
    print_lines(console, [f"Work section: {_work_words(plans[0][1].work, units)}"], bold_name=True)
    print_lines(console, [WORDS_OF_THE_TABLE])
    print_table(console, _columns(rows, units), title="The best option of each plan")
    if any(not row.proven for row in rows):
        print_lines(console, ["* not proven: a cheaper option may exist on the recorded data"])
    without = [name for name, plan in plans if not plan.options[0].weather]
    if without:
        print_lines(console, [f"{', '.join(without)}: {NOT_CALCULATED}"])
    if len({row.places for row in rows}) > 1:
        print_list(console, "Stops", (f"{row.name}: {'; '.join(row.places)}" for row in rows))
    else:
        print_lines(console, [f"Stops, the same in all: {'; '.join(rows[0].places)}"], bold_name=True)
    first, *others = plans
    outlines = [outline_of(plan.options[0]) for _, plan in plans]
    if len(rows) > 1:
        print_list(
            console,
            f"Beside {first[0]}",
            (
                f"{name}: {differences_in_words(one, outlines[0], units)}"
                for (name, _), one in zip(others, outlines[1:], strict=True)
            ),
        )
    apart = differences([plan for _, plan in plans])
    if apart:
        print_table(
            console,
            _difference_columns(apart, [name for name, _ in plans]),
            title="What differs in conditions, rules and orders",
        )
    else:
        print_lines(console, ["Conditions, rules and orders are the same in all."])
    console.print(Panel(Text(plans[0][1].caution), title="Caution", border_style="bold"))


def _work(plan: Plan) -> tuple[tuple[str, float, float], ...]:
    return tuple(sorted((item.main_id, item.from_m, item.to_m) for item in plan.work))


def _work_words(work: Sequence[WorkItem], units: Figures) -> str:
    return ", ".join(f"{w.main_id} {units.length(w.from_m)} to {units.length(w.to_m)}" for w in work)


def _row(name: str, plan: Plan, units: Figures) -> PlanRow:
    option = plan.options[0]
    off: Counter[str] = Counter()
    kept = 0
    for customer in option.customers:
        if customer.effect == "off":
            off[customer.category] += customer.meters
        else:
            kept += customer.meters
    whole = next((line for line in option.weather if not line.feed), None)
    return PlanRow(
        name=name,
        stops=len(option.stops),
        holes=option.holes,
        meters_off={category.word: off[category.word] for category in Category},
        meters_kept=kept,
        standby=len(option.standby),
        gas_m3=option.vent.total_m3,
        coldest_c=whole.coldest_air_temp_c if whole else None,
        burden=option.burden,
        currency=option.currency,
        proven=option.proof.optimal,
        least_mbar=option.pressures.after.least_mbar,
        places=tuple(
            f"{stop.method} {stop.valve_id or f'{stop.main_id} {units.chainage(stop.chainage_m)}'}"
            for stop in option.stops
        ),
        air_temp_c=plan.conditions.air_temp_c,
    )


def _made_under(plan: Plan) -> dict[str, str]:
    values: dict[str, str] = {"network data": plan.network.content_sha256[:12]}
    for key, value in plan.conditions.model_dump(mode="json").items():
        if key not in NO_OPINION:
            values[key] = _words(value)
    _flatten("", plan.rules, values)
    return values


def _flatten(prefix: str, value: Any, into: dict[str, str]) -> None:
    if isinstance(value, dict) and value:
        for key, inner in value.items():
            _flatten(f"{prefix}.{key}" if prefix else str(key), inner, into)
    elif isinstance(value, list) and value and all(isinstance(row, dict) and "name" in row for row in value):
        # Methods are told apart by name: a further one must not shift all that follow.
        for row in value:
            inner = {key: own for key, own in row.items() if key != "name"}
            _flatten(f"{prefix}[{row['name']}]", inner, into)
    else:
        into[prefix] = _words(value)


def _words(value: Any) -> str:
    if value is None or value == "" or value == []:
        return UNKNOWN
    if isinstance(value, list) and all(isinstance(item, str) for item in value):
        return "; ".join(value)
    if isinstance(value, float):
        return f"{value:g}"
    return value if isinstance(value, str) else json.dumps(value, ensure_ascii=False)


def _columns(rows: Sequence[PlanRow], units: Figures) -> list[TableColumn]:
    """Lay plans out as columns: few of them are compared, by many figures."""
    gas, cold, least = (units.kind(what).sign for what in ("volume", "temperature", "pressure"))
    figures: list[tuple[str, Callable[[PlanRow], str]]] = [
        ("stops", lambda row: str(row.stops)),
        ("holes", lambda row: str(row.holes)),
        *((f"{word} meters off", partial(_meters_off, word)) for word in rows[0].meters_off),
        ("meters kept by a feed", lambda row: str(row.meters_kept)),
        ("customers on standby", lambda row: str(row.standby)),
        (f"gas lost {gas}", lambda row: units.bare("volume", row.gas_m3)),
        (f"planned for air of {cold}", lambda row: units.bare("temperature", row.air_temp_c)),
        (f"holds to air of {cold}", lambda row: units.bare("temperature", row.coldest_c, "up")),
        (f"least pressure {least}", lambda row: units.bare("pressure", row.least_mbar, "down")),
        ("burden", lambda row: f"{row.burden:,.2f} {row.currency}{'' if row.proven else ' *'}"),
    ]
    return [
        TableColumn("", tuple(name for name, _ in figures)),
        *(TableColumn(row.name, tuple(figure(row) for _, figure in figures), figures=True) for row in rows),
    ]


def _meters_off(word: str, row: PlanRow) -> str:
    return str(row.meters_off[word])


def _difference_columns(apart: Sequence[Difference], names: Sequence[str]) -> list[TableColumn]:
    return [
        TableColumn("key", tuple(row.key for row in apart)),
        *(TableColumn(name, tuple(row.values[k] for row in apart)) for k, name in enumerate(names)),
    ]
