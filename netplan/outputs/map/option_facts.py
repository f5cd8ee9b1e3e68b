"""The head figures of an option beside their limits, and its feeds in a line each."""

from __future__ import annotations

from typing import Any

import numpy as np

from netplan.outputs.map.network_on_map import Box, rows_shown
from netplan.outputs.map.popups import Rows
from netplan.outputs.number_format import Figures
from netplan.planfile import PieceState, SolvedState
from netplan.planfile.model import Bypass, Option, Plan
from netplan.planfile.station_words import barrier_count

__all__ = ["facts_of", "feed_line", "main_lengths"]


def facts_of(option: Option, plan: Plan, units: Figures) -> Rows:
    """Return the head figures of an option as name and value, limits beside what they limit.

    Parameters
    ----------
    option : Option
    plan : Plan
        Whose option it is: its rules and conditions hold the limits.
    units : Figures
        How figures are written.
    """
    off = sum(c.meters for c in option.customers if c.effect == "off")
    kept = {c.id: c.meters for c in option.customers if c.effect == "kept"}
    return [
        ("stops", f"{len(option.stops)} ({option.holes} holes)"),
        ("barriers", barrier_count(option.stops)),
        ("meters off", str(off)),
        ("meters kept by feeds", str(sum(kept.values()))),
        ("customers on standby", str(len(option.standby))),
        ("kept, on standby", str(sum(who in kept for who in option.standby))),
        ("customers in doubt", str(len({row.id for row in option.in_doubt}))),
        ("bypasses, hoses", _count_by_kind(option)),
        ("gas lost", units.volume(option.vent.total_m3)),
        ("least pressure", _least(option, plan, units)),
        ("holds to air of", _coldest(option, plan, units)),
        ("burden", f"{option.burden:,.0f} {option.currency}"),
    ]


def _least(option: Option, plan: Plan, units: Figures) -> str:
    """Return the least pressure of a kept meter inlet beside what it needs: "21.2 mbar, needs 21.0"."""
    held = units.held(option.pressures.after.least_mbar)
    rule = plan.rules.get("pressure", {})
    if "minimum_mbar" not in rule:
        return held
    needs_mbar = float(rule["minimum_mbar"]) + float(rule.get("margin_mbar", 0.0))
    return f"{held}, needs {units.bare('pressure', needs_mbar, 'up')}"


def _coldest(option: Option, plan: Plan, units: Figures) -> str:
    """Return the coldest air that the option holds for beside that planned for: "−8.7 °C, planned −8.0"."""
    planned = units.bare("temperature", plan.conditions.air_temp_c)
    whole = next((line for line in option.weather if not line.feed), None)
    if whole is None:
        return f"not calculated; valid only at {units.temperature(plan.conditions.air_temp_c)}"
    if whole.coldest_air_temp_c is None:
        return f"no temperature, planned {planned} {units.kind('temperature').sign}"
    return f"{units.coldest(whole.coldest_air_temp_c)}, planned {planned}"


def _count_by_kind(option: Option) -> str:
    """Return how many bypasses and hoses there are: "1 hose"."""
    words = {"bypass": ("bypass", "bypasses"), "hose": ("hose", "hoses")}
    count = {kind: sum(one.kind == kind for one in option.bypasses) for kind in words}
    return ", ".join(f"{n} {words[kind][n != 1]}" for kind, n in count.items() if n) or "none"


def feed_line(bypass: Bypass, plan: Plan, units: Figures) -> str:
    """Return a bypass or hose in one line, its velocity and its weather beside their limits."""
    number = f"{bypass.parallel} × " if bypass.parallel > 1 else ""
    size = f"{number}{units.bore(bypass.bore_mm)} bore, {units.length(bypass.length_m)}"
    most = plan.rules.get("bypass", {}).get("velocity_max_m_s")
    limit = "" if most is None else f" of at most {units.bare('speed', float(most), 'down')}"
    coldest = bypass.minimum_air_temp_c
    parts = [
        f"{bypass.id}: {bypass.kind}, {units.load(bypass.flow_m3h)}",
        size,
        f"drop {units.pressure(bypass.drop_mbar)}",
        f"{units.speed_reached(bypass.velocity_m_s)}{limit}",
    ]
    if coldest is not None:
        parts.append(f"holds to {units.coldest(coldest)}")
    return ", ".join(parts)


def main_lengths(state: SolvedState, district: Box, units: Figures) -> dict[str, str]:
    """Return how much main is drawn in each state, by the words of the legend; empty where there is none."""
    pipes = state.pipes
    found: dict[str, str] = {}
    for code in PieceState:
        rows: Any = rows_shown(pipes, code, district)
        length_m = float(np.sum(pipes.length_m[rows[pipes.is_main[rows]]]))
        found[code.word] = units.length(length_m) if length_m > 0 else ""
    return found
