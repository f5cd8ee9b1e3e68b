"""The emergency view of a screen: its section of the report, and the list of valves to prove and to add."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import geopandas as gpd
import numpy as np
import pandas as pd

from netplan.core.constants import SECONDS_PER_MINUTE
from netplan.emergency.every_main import EveryMain
from netplan.emergency.maintenance_list import LEAST_MINUTES, MaintenanceList
from netplan.emergency.valve_gains import ValveGain
from netplan.network.linear_reference import points_at
from netplan.network.model import Network
from netplan.network.vocabulary import Operable, ValveState
from netplan.outputs.markdown_tables import figure_text, markdown_table, plain_text
from netplan.outputs.notices_csv import spreadsheet_safe
from netplan.outputs.number_format import METRIC, Figures
from netplan.outputs.screen_table import EMERGENCY_CAUTION

__all__ = ["EmergencyView", "emergency_section", "maintenance_rows", "write_maintenance"]

TOP: Final = 20
TOP_NEW: Final = 10
TEXTS: Final = ("aim", "valve_id", "main_id", "street", "record")


@dataclass(frozen=True, slots=True)
class EmergencyView:
    """The emergency at every main, and what one valve more saves; None where it was not looked for."""

    every: EveryMain
    lists: tuple[MaintenanceList, ...] | None


def emergency_section(view: EmergencyView, mains: gpd.GeoDataFrame, units: Figures = METRIC) -> Iterator[str]:
    """Yield the lines of the section in Markdown.

    Parameters
    ----------
    view : EmergencyView
    mains : GeoDataFrame
        Result of `screen_table.ranked_mains`.
    units : Figures
        How figures are written.
    """
    rules, crews = view.every.tables.rules.emergency, view.every.crews
    without = int((mains["valve_ring"] == "no").sum())
    yield "## Emergency: a hit in the middle of each main"
    yield ""
    yield EMERGENCY_CAUTION
    yield ""
    yield (
        f"- {crews} {'crew' if crews == 1 else 'crews'}; {rules.minutes_valve:g} min a valve; no stop within "
        f"{units.sentence(f'{rules.keep_away_m:g} m')} of the hit"
    )
    yield (
        "- by valves alone: valves recorded as operable and open; by the quickest method: any stop of the "
        "rules; each the ring that is shut soonest"
    )
    yield "- meters off: inside the ring, or parted by it from every station and injection"
    yield (
        f"- {without} of {len(mains)} mains have no ring of valves without shutting a station: that is for "
        "network control, its time is in no figure"
    )
    for kind, words in (("valves", "by valves alone"), ("fastest", "by the quickest method")):
        rings = mains[mains[f"{kind}_stations"] == 0]
        if len(rings):
            low, middle, high = rings[f"{kind}_minutes"].quantile([0.0, 0.5, 1.0]).tolist()
            meters = figure_text(rings[f"{kind}_meters"].median())
            yield (
                f"- {words}, {len(rings)} mains without a station: {low:g} to {high:g} min, half of them up "
                f"to {middle:g} min; half of them up to {meters} meters off"
            )
    yield ""
    if without:
        yield from _without_ring(mains)
    if view.lists is None:
        return
    yield "## Valves to prove, places for a new valve"
    yield ""
    yield (
        "Each valve is taken as operable and open, one at a time, and every main is asked again: one hit in "
        "its middle, shut by valves alone. Ranked by what is saved times the length of the main, as a longer "
        "main is hit more often: first stations that need not be shut, then minutes, then meters. Figures "
        "here are plain sums over the mains; means over a hit anywhere are in `maintenance.csv`."
    )
    yield ""
    for one in view.lists:
        yield from _list_lines(view.every.tables.network, one, rules.meters_per_minute, units)


def _without_ring(mains: gpd.GeoDataFrame) -> Iterator[str]:
    rows = mains[mains["valve_ring"] == "no"].sort_values(
        ["valves_meters", "main_id"], ascending=[False, True]
    )
    yield "### No ring of valves without shutting a station"
    yield ""
    yield from markdown_table(
        ["main", "street", "stations to shut", "meters off", "quickest by", "time to shut [min]"],
        (
            [
                plain_text(row["main_id"]),
                plain_text(row["street"]),
                plain_text(row["valves_shut_stations"]),
                figure_text(row["valves_meters"]),
                plain_text(row["fastest_methods"]) or "stations alone",
                figure_text(row["fastest_minutes"]),
            ]
            for row in rows.head(TOP).to_dict("records")
        ),
    )
    if len(rows) > TOP:
        yield f"{len(rows) - TOP} more are in the table."
        yield ""


def _list_lines(
    network: Network, one: MaintenanceList, meters_per_minute: float, units: Figures
) -> Iterator[str]:
    if one.aim == LEAST_MINUTES:
        yield "### By the rings that are shut soonest"
    else:
        worth = f"{meters_per_minute:g} meters worth a minute"
        yield f"### By the rings of least minutes and meters together, {worth}"
    yield ""
    helping = [gain for gain in one.prove if gain.weight > 0.0]
    for gain in helping[:TOP]:
        yield f"- {_gain_words(network, gain, units)}"
    if len(helping) > TOP:
        yield f"- {len(helping) - TOP} more valves to prove are in `maintenance.csv`"
    if one.prove:
        rest = len(one.prove) - len(helping)
        yield f"- {rest} of {len(one.prove)} valves that no ring may use as recorded save nothing alone"
    else:
        yield "- every valve on a main is recorded as operable and open, or as closed"
    for gain in one.new[:TOP_NEW]:
        yield f"- {_gain_words(network, gain, units)}"
    if not one.new:
        yield "- no place for a new valve saves anything alone"
    yield ""
    yield (
        f"Valves to prove: all {len(one.prove)} worked out in full. New valves: {one.tried} of {one.places} "
        "places worked out in full, at the ends of chains of mains between junctions; room for the valve is "
        "not looked at. "
        + (
            "No other of these places saves more than the last one listed."
            if one.proven
            else "A shortlist, those that can save most first: another place may save more."
        )
    )
    yield ""


def _gain_words(network: Network, gain: ValveGain, units: Figures) -> str:
    place = gain.place
    pipe = network.pieces.pipe.item(place.piece)
    main, street = plain_text(network.pipes.id[pipe]), plain_text(network.pipes.street[pipe])
    where = f"main {main}, {street}" if street else f"main {main}"
    if place.valve >= 0:
        name = plain_text(network.valves.id[place.valve])
        words = f"prove valve {name} ({_record(network, place.valve)}; {where})"
    else:
        words = f"new valve on {where}, at {units.length(place.chainage_m)}"
    parts = [f"{gain.mains} {'main' if gain.mains == 1 else 'mains'}"]
    if gain.stations:
        parts.append(f"{_change(gain.stations, 'station', 'fewer')} to shut")
    parts.append(_change(gain.seconds / SECONDS_PER_MINUTE, "min", "less"))
    parts.append(f"{_change(gain.meters, 'meter', 'fewer')} off")
    return f"{words}: {', '.join(parts)}"


def _change(saved: float, unit: str, less: str) -> str:
    """Return a saving as a change in words."""
    number = f"{abs(saved):,.0f}"
    plural = "" if unit == "min" or number == "1" else "s"
    return f"{number} {unit}{plural} {'more' if saved < 0 else less}"


def _record(network: Network, valve: int) -> str:
    """Return what is recorded of a valve that no ring may use."""
    valves = network.valves
    operable = {Operable.NO: "not operable", Operable.UNKNOWN: "operability unknown"}
    words = [operable[code] for code in operable if valves.operable[valve] == code]
    if valves.state[valve] == ValveState.UNKNOWN:
        words.append("state unknown")
    return ", ".join(words)


def maintenance_rows(view: EmergencyView) -> pd.DataFrame:
    """Return every valve to prove and every new place named, one row each and choice of rings."""
    network, rows = view.every.tables.network, []
    for one in view.lists or ():
        for rank, gain in enumerate(sorted((*one.prove, *one.new), key=lambda gain: -gain.weight), 1):
            rows.append({"aim": one.aim, "rank": rank, **_row(network, gain, one.length_m)})
    return pd.DataFrame(rows, columns=[*MAINTENANCE_COLUMNS])


MAINTENANCE_COLUMNS: Final = (
    "aim",
    "rank",
    "what",
    "valve_id",
    "record",
    "main_id",
    "street",
    "chainage_m",
    "mains",
    "mains_m",
    "stations_fewer",
    "minutes_fewer",
    "meters_fewer",
    "minutes_fewer_a_hit",
    "meters_fewer_a_hit",
    "x_m",
    "y_m",
)
"""``mains``: whose ring is better, ``mains_m`` their length [m]. ``*_fewer``: with the valve less without it,
summed over all mains; ``*_a_hit``: the mean over a hit anywhere, each main by its length."""


def _row(network: Network, gain: ValveGain, length_m: float) -> dict[str, Any]:
    place = gain.place
    pipe = network.pieces.pipe.item(place.piece)
    x_m, y_m = points_at(network, np.array([pipe]), np.array([place.chainage_m]))[0].tolist()
    is_new = place.valve < 0
    return {
        "what": "new valve" if is_new else "prove",
        "valve_id": "" if is_new else network.valves.id[place.valve],
        "record": "" if is_new else _record(network, place.valve),
        "main_id": network.pipes.id[pipe],
        "street": network.pipes.street[pipe],
        "chainage_m": round(place.chainage_m, 3),
        "mains": gain.mains,
        "mains_m": round(gain.length_m, 1),
        "stations_fewer": gain.stations,
        "minutes_fewer": round(gain.seconds / SECONDS_PER_MINUTE, 2),
        "meters_fewer": gain.meters,
        "minutes_fewer_a_hit": round(gain.seconds_m / SECONDS_PER_MINUTE / length_m, 4) if length_m else 0.0,
        "meters_fewer_a_hit": round(gain.meters_m / length_m, 4) if length_m else 0.0,
        "x_m": round(x_m, 3),
        "y_m": round(y_m, 3),
    }


def write_maintenance(view: EmergencyView, path: Path) -> None:
    """Write the list as CSV; no text is a formula to a spreadsheet."""
    frame = maintenance_rows(view)
    for name in TEXTS:
        frame[name] = [spreadsheet_safe(text) for text in frame[name]]
    frame.to_csv(path, index=False, encoding="utf-8-sig", lineterminator="\r\n")
