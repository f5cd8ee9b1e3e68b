"""Readings of the work pack: what each gauge reads in each state, by air temperature and hour."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from netplan.outputs.documents.step_list_table import reading_cells
from netplan.outputs.item_words import joined_ids
from netplan.outputs.number_format import Figures
from netplan.planfile.model import Gauge, Option, Reading, Step
from netplan.planfile.naming import state_words

__all__ = ["gauge_place", "readings_part"]


def readings_part(option: Option, units: Figures) -> dict[str, Any]:
    """Return for each gauge the tables of its readings, one for all states in which it reads the same.

    Parameters
    ----------
    option : Option
    units : Figures
        Pressures get one digit more than elsewhere: limits lie close to what is expected.
    """
    finer = units.with_more_digits("pressure", 1)
    hours = sorted({row.hour for step in option.steps for one in step.readings for row in one.by_weather})
    found = []
    for gauge in option.gauges:
        blocks = _blocks(option.steps, gauge.id, hours, finer)
        if blocks:
            found.append({"id": gauge.id, "place": gauge_place(gauge, units), "blocks": blocks})
    known = {gauge.id for gauge in option.gauges}
    for zone_gauge in option.zone_gauges:
        blocks = _blocks(option.steps, zone_gauge.id, hours, finer)
        if blocks and zone_gauge.id not in known:
            at = f"{zone_gauge.main_id} at {units.chainage(zone_gauge.chainage_m)}"
            place = f"{at}, on tapping {zone_gauge.tapping_id}"
            found.append({"id": zone_gauge.id, "place": place, "blocks": blocks})
    return {
        "readings": found,
        "reading-hours": [_hour(hour) for hour in hours],
        "reading-unit": units.kind("pressure").sign,
    }


def _hour(hour: int) -> str:
    return f"{hour:02d}–{(hour + 1) % 24:02d}"


def gauge_place(gauge: Gauge, units: Figures) -> str:
    """Return where a gauge is."""
    if gauge.customer:
        return f"test point of the meter of {gauge.customer}, near {gauge.main_id}"
    return f"{gauge.main_id} at {units.chainage(gauge.chainage_m)}"


def _blocks(
    steps: Sequence[Step], gauge_id: str, hours: Sequence[int], units: Figures
) -> list[dict[str, Any]]:
    """Return the readings of a gauge; those that print alike stand once, with their states and steps."""
    merged: dict[tuple[Any, ...], tuple[dict[str, Any], list[tuple[str, int]]]] = {}
    for step in steps:
        for reading in step.readings:
            if reading.gauge_id != gauge_id:
                continue
            block = _block(reading, hours, units)
            key = (tuple(block["cells"]), tuple(map(tuple, block["rows"])))
            merged.setdefault(key, (block, []))[1].append((step.state, step.n))
    return [
        block
        | {
            "states": "; ".join(dict.fromkeys(state_words(state) for state, _ in where if state)),
            "steps": joined_ids(str(n) for _, n in where),
        }
        for block, where in merged.values()
    ]


def _block(reading: Reading, hours: Sequence[int], units: Figures) -> dict[str, Any]:
    temperatures = sorted({row.air_temp_c for row in reading.by_weather})
    known = {(row.air_temp_c, row.hour): row.expect_mbar for row in reading.by_weather}
    of = "" if reading.air_temp_c is None else f"{units.temperature(reading.air_temp_c)}"
    at = "" if reading.hour is None else f"{_hour(reading.hour)} h"
    return {
        "cells": reading_cells(reading, units)[1:],
        "of": ", ".join(part for part in (of, at) if part),
        "rows": [
            [
                units.temperature(air),
                *(units.bare("pressure", known.get((air, hour))) for hour in hours),
            ]
            for air in temperatures
        ],
    }
