"""Where money helps most, as a table and as a section of the report of a screen."""

from __future__ import annotations

import math
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

import pandas as pd

from netplan.outputs.markdown_tables import markdown_table, plain_text
from netplan.outputs.notices_csv import spreadsheet_safe
from netplan.outputs.number_format import Figures
from netplan.rules.rule_set import Rules
from netplan.screening.best_measures import LEAST_A_YEAR, WANTED, BestMeasures, MeasuresOfKind
from netplan.screening.measure_rows import Measure, MeasureKind

__all__ = ["best_measure_text", "measures_section", "write_measures"]

_DIGITS: Final = 2
_TEXTS: Final = ("kind", "what", "valve_id", "main_id", "to_main")
_PLURAL: Final = {
    MeasureKind.VALVE: "new valves",
    MeasureKind.LINK: "new links",
    MeasureKind.REPAIR: "repairs",
    MeasureKind.VERIFY: "records to verify",
}


def write_measures(measures: BestMeasures, path: Path) -> None:
    """Write the best measures of each kind as CSV, the best first; no text is a formula to a spreadsheet."""
    others = {of_kind.kind: of_kind for of_kind in measures.kinds}
    rows: list[dict[str, Any]] = [
        {
            "rank": place,
            "kind": str(row.kind),
            "what": row.what,
            "valve_id": row.valve_id,
            "main_id": row.main_id,
            "chainage_m": row.chainage_m,
            "x_m": round(row.x_m, 3),
            "y_m": round(row.y_m, 3),
            "to_main": row.to_main,
            "to_x_m": None if row.to_x_m is None else round(row.to_x_m, 3),
            "to_y_m": None if row.to_y_m is None else round(row.to_y_m, 3),
            "saved_a_year": round(row.saved_a_year, _DIGITS),
            "saved_unfed_a_year": None
            if row.saved_unfed_a_year is None
            else round(row.saved_unfed_a_year, _DIGITS),
            "mains": row.mains,
            "customers": row.customers,
            "price": round(row.price, _DIGITS),
            "years": round(row.years, _DIGITS),
            "proven": "yes" if others[row.kind].proven else "no",
            "others_at_most_a_year": round(others[row.kind].others_at_most, _DIGITS),
        }
        for place, row in enumerate(measures.ranked, start=1)
    ]
    frame = pd.DataFrame(rows, columns=list(_COLUMNS))
    for name in _TEXTS:
        frame[name] = [spreadsheet_safe(text) for text in frame[name]]
    frame.to_csv(path, index=False, encoding="utf-8-sig", lineterminator="\r\n")


_COLUMNS: Final = (
    "rank",
    "kind",
    "what",
    "valve_id",
    "main_id",
    "chainage_m",
    "x_m",
    "y_m",
    "to_main",
    "to_x_m",
    "to_y_m",
    "saved_a_year",
    "saved_unfed_a_year",
    "mains",
    "customers",
    "price",
    "years",
    "proven",
    "others_at_most_a_year",
)


def best_measure_text(measures: BestMeasures, rules: Rules) -> str:
    """Return what saves most a year, in a sentence for the terminal."""
    best = measures.ranked[0]
    at = f"valve {best.valve_id}, main {best.main_id}" if best.valve_id else f"main {best.main_id}"
    to = f" to main {best.to_main}" if best.to_main else ""
    return (
        f"Most saved a year: {best.kind}, {at}{to}: {best.saved_a_year:,.0f} {rules.price.currency} at "
        f"{rules.measures.works_per_km_year:g} works a km and year; {min(len(measures.ranked), WANTED)} "
        "named in the report, all in measures.csv."
    )


def measures_section(measures: BestMeasures, rules: Rules, units: Figures) -> Iterator[str]:
    """Yield the section of the report, line by line."""
    currency, best = rules.price.currency, measures.ranked[:WANTED]
    yield "## Where money helps most"
    yield ""
    yield (
        f"The {WANTED} valves, links, repairs and records to verify that save most a year, at "
        f"{rules.measures.works_per_km_year:g} works a km and year on every main. Each is put into the "
        "network by itself and every main that it concerns is asked again: savings do not add up. What is "
        "saved is by the least burden of each main; prices are those of the rules' `[measures]`. A record "
        "saves only if it "
        "proves good. Whether the ground lets a valve or a link be laid is not looked at."
    )
    yield ""
    if best:
        length = f"chainage [{units.kind('length').sign}]"
        names = ["measure", "valve", "main", length, "to main", f"saved a year [{currency}]"]
        names += [f"price [{currency}]", "years", "mains"]
        yield from markdown_table(names, (_cells(row, units) for row in best))
    else:
        yield "None saves anything."
        yield ""
    gap = measures.gap(WANTED)
    yield (
        f"Proven: no other one saves a whole {currency} a year more than the last one named."
        if gap < LEAST_A_YEAR
        else f"A shortlist: another one may save up to {math.ceil(gap):,} {currency} a year"
        f"{' more than the last one' if len(best) == WANTED else ''}."
    )
    yield ""
    yield f"Of each kind, in `measures.csv`: {'; '.join(_of_kind(one, currency) for one in measures.kinds)}."
    yield ""


def _cells(row: Measure, units: Figures) -> list[str]:
    return [
        plain_text(f"{row.kind}: {row.what}" if row.valve_id else str(row.kind)),
        plain_text(row.valve_id),
        plain_text(row.main_id),
        "" if row.chainage_m is None else units.bare("length", row.chainage_m),
        plain_text(row.to_main),
        f"{row.saved_a_year:,.0f}",
        f"{row.price:,.0f}",
        f"{row.years:,.1f}",
        str(row.mains),
    ]


def _of_kind(one: MeasuresOfKind, currency: str) -> str:
    count = f"{len(one.rows)} {_PLURAL[one.kind] if len(one.rows) != 1 else one.kind}"
    if one.proven:
        return f"{count} (proven)"
    more = "more than the last one" if len(one.rows) == one.wanted else "may be missing"
    return f"{count} (up to {math.ceil(one.gap):,} {currency} a year {more})"
