"""The short report: the mains nobody wants to lose, and where one more valve or link would help."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator
from typing import Any, Final

import geopandas as gpd
import pandas as pd

from netplan.outputs.markdown_tables import figure_text, markdown_table, plain_text
from netplan.outputs.measures_table import measures_section
from netplan.outputs.number_format import METRIC, Figures
from netplan.outputs.screen_emergency import EmergencyView, emergency_section
from netplan.outputs.screen_table import (
    BYPASS_WORDS,
    CAUTION,
    CAUTION_IN_FULL,
    LOWEST_FIRST,
    figure_label,
    shown_figure,
)
from netplan.screening.best_measures import BestMeasures
from netplan.screening.link_candidates import NewLink
from netplan.screening.main_evaluator import STOPS_FOUND
from netplan.screening.plan_outcomes import NO_PLAN, NOT_SETTLED, PLAN_STANDS
from netplan.screening.screen_run import Screen
from netplan.screening.valve_candidates import ValvePlaces

__all__ = ["report_text"]

TOP: Final = 20


def report_text(
    screen: Screen,
    mains: gpd.GeoDataFrame,
    by: str,
    valves: ValvePlaces | None,
    links: tuple[NewLink, ...] | None,
    emergency: EmergencyView | None = None,
    units: Figures = METRIC,
    *,
    measures: BestMeasures | None = None,
) -> str:
    """Return the report as Markdown.

    Parameters
    ----------
    screen : Screen
    mains : GeoDataFrame
        Result of `screen_table.ranked_mains`.
    by : str
        The figure they are ranked by.
    valves, links : optional
        Better places; None where they were not looked for.
    emergency : EmergencyView, optional
        The emergency at every main, where it was asked for.
    units : Figures
        How figures are written.
    measures : BestMeasures, optional
        What saves most a year, where it was looked for.
    """
    lines = [*_head(screen, mains, units), *_worst(screen, mains, by, units)]
    if screen.settings.stops:
        lines += _without_plan(mains, units)
        if measures is not None:
            lines += measures_section(measures, screen.rules, units)
        lines += [*_valves(screen, valves, units), *_links(links, units)]
    if emergency is not None:
        lines += emergency_section(emergency, mains, units)
    return "\n".join(lines) + "\n"


def _head(screen: Screen, mains: gpd.GeoDataFrame, units: Figures) -> Iterator[str]:
    settings, rules = screen.settings, screen.rules
    work = (
        "the whole main"
        if settings.work == "whole"
        else f"{units.sentence(f'{settings.work_m:g} m')} in the middle of the main"
    )
    temp = settings.air_temp_c if settings.air_temp_c is not None else rules.demand.design_air_temp_c
    air = units.temperature(temp) if units.is_us else f"{temp:g} °C"
    yield "# What the isolation of each main means"
    yield ""
    if settings.stops:
        yield CAUTION_IN_FULL if settings.full else CAUTION
        yield ""
    yield f"- network: {screen.network.content_sha256[:16] or 'without digest'}, {len(mains)} mains"
    if not settings.stops:
        yield "- customers off if the whole main is cut out: without gas when it is cut at both ends"
        yield ""
        return
    yield f"- work section: {work}"
    yield f"- window: {settings.hours or rules.crew.hours:g} h at {air} air temperature"
    found = Counter(mains["outcome"])
    if settings.full:
        yield from _plans(mains)
        found[NOT_SETTLED] = 0
    else:
        yield (
            f"- stops are found for {found[STOPS_FOUND]} mains: possible by stops alone. Whether feeds, "
            "pressures, hours and the order of the work allow a plan only `gas-netplan plan` says"
        )
    if found[NOT_SETTLED]:
        yield f"- not settled for {found[NOT_SETTLED]} mains: `gas-netplan plan` looks farther"
    if settings.pressure:
        count = Counter(mains["bypass"])
        yield (
            "- customers would go off without a feed, such as a bypass, for "
            f"{count['yes'] + count['must']} mains; a priority customer for {count['must']} of them"
        )
    yield (
        "- customers off if the whole main is cut out: without gas when it is cut at both ends. Customers at "
        "risk at the cheapest stops, before any bypass: isolated, stranded or below the least pressure with "
        "the stops of the lowest bound of the burden and no feed"
    )
    yield ""


def _worst(screen: Screen, mains: gpd.GeoDataFrame, by: str, units: Figures) -> Iterator[str]:
    currency = screen.rules.price.currency
    yield f"## The worst mains to lose: by {figure_label(by, currency, units)}"
    yield ""
    wanted: tuple[str, ...] = (by, "ends_customers", "customers", "priority")
    if screen.settings.full:
        wanted += ("plan_burden", "plan_meters", "plan_stops", "plan_bypasses", "plan_hoses", "plan_relit_h")
    else:
        wanted += ("stops", "burden_least", "bypass")
    columns = [name for name in dict.fromkeys(wanted) if name in mains.columns]
    labels = (figure_label(c, currency, units) if c != "bypass" else "bypass" for c in columns)
    names = ["main", "street", *labels]
    top = mains.head(TOP)
    yield from markdown_table(
        names,
        (
            [
                plain_text(row["main_id"]),
                plain_text(row["street"]),
                *(_cell(name, row[name], units) for name in columns),
            ]
            for row in top.to_dict("records")
        ),
    )


def _cell(figure: str, value: Any, units: Figures) -> str:
    if isinstance(value, str) or value is None or pd.isna(value):
        return BYPASS_WORDS.get(value, value) if figure == "bypass" else figure_text(value)
    shown = shown_figure(figure, value, units)
    return f"{shown:,.2f}" if units.is_us and figure in LOWEST_FIRST else figure_text(shown)


def _plans(mains: gpd.GeoDataFrame) -> Iterator[str]:
    """Yield what became of the plans of all mains, for the head of the report."""
    plans = Counter(mains["plan_outcome"])
    yield (
        f"- a plan stands for {plans[PLAN_STANDS]} mains; none is possible for {plans[NO_PLAN]}; not settled "
        f"for {plans[NOT_SETTLED]}"
    )
    proven = int((mains["plan_proven"] == "yes").sum())
    yield f"- proven that no option is cheaper: for {proven} of them; for the others the table has the bound"
    fed = mains["plan_bypasses"].fillna(0) + mains["plan_hoses"].fillna(0) + mains["plan_opened"].fillna(0)
    with_off = int((mains["plan_customers"].fillna(0) > 0).sum())
    yield f"- the best option has a feed for {int((fed > 0).sum())} mains, and customers off for {with_off}"


def _without_plan(mains: gpd.GeoDataFrame, units: Figures) -> Iterator[str]:
    if "plan_outcome" in mains.columns:
        mains = mains.assign(outcome=mains["plan_outcome"], reason=mains["plan_reason"])
    yield from _with_reasons(mains[mains["outcome"] == NO_PLAN], "No plan possible", units)
    unsettled = mains[mains["outcome"] == NOT_SETTLED]
    if len(unsettled):
        yield from _with_reasons(unsettled, "Not settled", units)


def _with_reasons(rows: gpd.GeoDataFrame, heading: str, units: Figures) -> Iterator[str]:
    yield f"## {heading}"
    yield ""
    if not len(rows):
        yield "None."
        yield ""
        return
    yield from markdown_table(
        ["main", "street", "why"],
        (
            [plain_text(r["main_id"]), plain_text(r["street"]), plain_text(units.sentence(str(r["reason"])))]
            for r in rows.sort_values("main_id").head(TOP).to_dict("records")
        ),
    )
    if len(rows) > TOP:
        yield f"{len(rows) - TOP} more are in the table."
        yield ""


def _valves(screen: Screen, valves: ValvePlaces | None, units: Figures) -> Iterator[str]:
    yield "## Where one more valve would help most"
    yield ""
    if valves is None:
        yield "Not looked for."
    elif not valves.places:
        yield (
            "Nowhere: no valve saves anything, or the rules have no valve."
            if valves.proven
            else f"Nowhere found: {_left_open(screen, valves)}"
        )
    else:
        currency = screen.rules.price.currency
        yield (
            f"Burden saved a year at {screen.rules.measures.works_per_km_year:g} works a km and year on "
            "every main, by the least burden of each, with the network as it would be; mains that get "
            "dearer count against it, mains without stops before or after do not count. Once: summed over "
            "all mains taken out one by one. Customers: more that stay in supply, summed likewise."
        )
        yield ""
        names = [
            "main",
            f"chainage [{units.kind('length').sign}]",
            f"saved a year [{currency}]",
            f"once [{currency}]",
            "mains",
            "customers",
        ]
        yield from markdown_table(
            names,
            (
                [
                    plain_text(v.main_id),
                    units.bare("length", v.chainage_m),
                    f"{v.saved_a_year:,.0f}",
                    f"{v.saved:,.0f}",
                    str(v.mains),
                    str(v.customers),
                ]
                for v in valves.places
            ),
        )
        yield (
            f"{valves.tried} lengths of main were tried. One place is named for each run of main between "
            f"junctions; on no other run can a valve anywhere save a whole {currency} a year more than the "
            "last one named."
            if valves.proven
            else f"A shortlist: {_left_open(screen, valves)} One place is named for each run of main between "
            "junctions."
        )
    yield ""


def _left_open(screen: Screen, valves: ValvePlaces) -> str:
    currency = screen.rules.price.currency
    most = f"{math.ceil(valves.others_at_most):,} {currency} a year"
    more = f", {math.ceil(valves.gap):,} {currency} more than the last one named" if valves.places else ""
    return (
        f"{valves.tried} lengths of main were tried, those first where most can be saved. On another run of "
        f"main between junctions a valve may save up to {most}{more}."
    )


def _links(links: tuple[NewLink, ...] | None, units: Figures) -> Iterator[str]:
    yield "## Where one more link would help most"
    yield ""
    if links is None:
        yield "Not looked for."
    elif not links:
        yield "Nowhere within reach."
    else:
        yield (
            "Customers no longer lost, summed over all mains cut at their ends one by one. Pressure, "
            "capacity and what lies in the ground between are not looked at."
        )
        yield ""
        yield from markdown_table(
            ["from main", "to main", f"gap [{units.kind('length').sign}]", "customers saved", "mains"],
            (
                [
                    plain_text(k.from_main),
                    plain_text(k.to_main),
                    units.bare("length", k.gap_m),
                    f"{k.saved:,}",
                    str(k.mains),
                ]
                for k in links
            ),
        )
    yield ""
