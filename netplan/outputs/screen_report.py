"""The short report: the mains nobody wants to lose, and where one more valve or link would help."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Iterator
from typing import Any, Final

import geopandas as gpd
import pandas as pd

from netplan.outputs.screen_table import CAUTION, figure_label
from netplan.screening.link_candidates import NewLink
from netplan.screening.screen_run import Screen
from netplan.screening.valve_candidates import ValvePlaces

__all__ = ["report_text"]

TOP: Final = 20
_MARKUP: Final = re.compile(r"([\\`*_{}\[\]<>#|!~&])")
_UNSEEN: Final = re.compile("[\x00-\x1f\x7f-\x9f\u200b-\u200f\u2028-\u202e\u2060-\u206f]+")


def report_text(
    screen: Screen,
    mains: gpd.GeoDataFrame,
    by: str,
    valves: ValvePlaces | None,
    links: tuple[NewLink, ...] | None,
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
    """
    lines = [*_head(screen, mains), *_worst(screen, mains, by), *_without_plan(mains)]
    lines += [*_valves(screen, valves), *_links(links)]
    return "\n".join(lines) + "\n"


def _head(screen: Screen, mains: gpd.GeoDataFrame) -> Iterator[str]:
    settings, rules = screen.settings, screen.rules
    work = (
        "the whole main" if settings.work == "whole" else f"{settings.work_m:g} m in the middle of the main"
    )
    temp = settings.air_temp_c if settings.air_temp_c is not None else rules.demand.design_air_temp_c
    yield "# What the isolation of each main means"
    yield ""
    yield CAUTION
    yield ""
    yield f"- network: {screen.network.content_sha256[:16] or 'without digest'}, {len(mains)} mains"
    yield f"- work section: {work}"
    yield f"- window: {settings.hours or rules.crew.hours:g} h at {temp:g} °C air temperature"
    yield f"- a plan is possible for {int((mains['outcome'] == 'plan').sum())} mains"
    if settings.pressure:
        count = Counter(mains["bypass"])
        yield (
            "- somebody would go off without a feed, a bypass for example, for "
            f"{count['yes'] + count['must']} mains; a priority customer for {count['must']} of them"
        )
    yield (
        "- lost at its two ends: without gas when the main is cut at both ends. At the best stops: without "
        "gas with the stops of the lowest bound of the burden and no feed: isolated, stranded or below the "
        "least pressure"
    )
    yield ""


def _worst(screen: Screen, mains: gpd.GeoDataFrame, by: str) -> Iterator[str]:
    currency = screen.rules.price.currency
    yield f"## The mains nobody wants to lose: by {figure_label(by, currency)}"
    yield ""
    columns = [
        *dict.fromkeys((by, "ends_customers", "customers", "priority", "stops", "burden_least", "bypass"))
    ]
    names = ["main", "street", *(figure_label(c, currency) if c != "bypass" else "bypass" for c in columns)]
    top = mains.head(TOP)
    yield from _table(
        names,
        (
            [_text(row["main_id"]), _text(row["street"]), *(_figure(row[name]) for name in columns)]
            for row in top.to_dict("records")
        ),
    )


def _without_plan(mains: gpd.GeoDataFrame) -> Iterator[str]:
    rows = mains[mains["outcome"] != "plan"]
    yield "## No plan possible"
    yield ""
    if not len(rows):
        yield "None."
        yield ""
        return
    yield from _table(
        ["main", "street", "why"],
        (
            [_text(r["main_id"]), _text(r["street"]), _text(r["reason"])]
            for r in rows.sort_values("main_id").head(TOP).to_dict("records")
        ),
    )
    if len(rows) > TOP:
        yield f"{len(rows) - TOP} more are in the table."
        yield ""


def _valves(screen: Screen, valves: ValvePlaces | None) -> Iterator[str]:
    yield "## Where one more valve would help most"
    yield ""
    if valves is None:
        yield "Not looked for."
    elif not valves.places:
        yield "Nowhere: no valve saves anything, or the rules know no valve."
    else:
        currency = screen.rules.price.currency
        yield (
            "Burden saved, summed over all mains that are taken out one by one, by the least burden of each, "
            "with the network as it would be. Customers: more that stay in supply, summed likewise."
        )
        yield ""
        names = ["main", "chainage [m]", f"saved [{currency}]", "mains", "customers"]
        yield from _table(
            names,
            (
                [_text(v.main_id), f"{v.chainage_m:.1f}", f"{v.saved:,.0f}", str(v.mains), str(v.customers)]
                for v in valves.places
            ),
        )
        yield (
            f"{valves.tried} chains were tried. No other place can save more than the last one named."
            if valves.proven
            else f"{valves.tried} chains were tried, those with the greatest bound; another may be as good."
        )
    yield ""


def _links(links: tuple[NewLink, ...] | None) -> Iterator[str]:
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
        yield from _table(
            ["from main", "to main", "gap [m]", "customers saved", "mains"],
            (
                [_text(k.from_main), _text(k.to_main), f"{k.gap_m:.1f}", f"{k.saved:,}", str(k.mains)]
                for k in links
            ),
        )
    yield ""


def _table(names: list[str], rows: Iterable[list[str]]) -> Iterator[str]:
    yield f"| {' | '.join(names)} |"
    yield f"|{'---|' * len(names)}"
    for row in rows:
        yield f"| {' | '.join(row)} |"
    yield ""


def _text(value: Any) -> str:
    """Return text from the data that stays text in Markdown and in what is made of it."""
    return _MARKUP.sub(r"\\\1", _UNSEEN.sub(" ", "" if pd.isna(value) else str(value)))


def _figure(value: Any) -> str:
    if isinstance(value, str):
        return value
    if value is None or pd.isna(value):
        return "–"
    return f"{value:,.0f}" if float(value).is_integer() else f"{value:,.1f}"
