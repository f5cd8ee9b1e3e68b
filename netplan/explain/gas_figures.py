"""The gas that the work lets go: line content, purge, methane, carbon dioxide equivalent."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from netplan.core.arrays import Ints
from netplan.core.constants import (
    ATMOSPHERE_PA_ABS,
    GRAVITY_M_PER_S2,
    MM_PER_M,
    STANDARD_TEMPERATURE_K,
    ZERO_CELSIUS_K,
)
from netplan.explain.explanation_sheet import Explanation, ExplanationSheet, SheetTable, read
from netplan.explain.pressure_figures import live_node
from netplan.explain.recorded_option import RecordedOption, rule_origin, source_line
from netplan.planfile import PieceState
from netplan.reference.gas import METRIC_STANDARD
from netplan.reference.gas_components import components
from netplan.reference.purge_figures import purge_figure

__all__ = ["explain_gas", "explain_methane", "explain_nitrogen", "explain_purge"]


_VOLUME_DIGIT: Final = 0.5e-6
_PRINTED: Final = 2e-7
"""What ten printed figures may cost a sum of many rows [m³]."""


@dataclass(frozen=True, slots=True)
class _Length:
    """A length of pipe that holds gas to be lost."""

    name: str
    from_m: float
    to_m: float
    length_m: float
    bore_mm: float
    pressure_mbar: float


def explain_gas(recorded: RecordedOption) -> Explanation:
    """Explain the gas lost: line content of the zones and of the gaps of double stops, and the purge."""
    sheet = ExplanationSheet()
    result = _total(sheet, recorded)
    return Explanation(
        figure="gas",
        title="Gas lost: line content and purge",
        parts=tuple(sheet.parts),
        result=result,
        unit="m³ at 15 °C, 101.325 kPa",
        stated=recorded.option.vent.total_m3,
        where=f"{recorded.place}, vent, total_m3",
        within=_VOLUME_DIGIT + _PRINTED,
        notes=(
            "Let-by of the stops while they are in is an allowance apart, no part of the total.",
            "Purging out is done with air or inert gas, which is no gas lost.",
        ),
        sources=tuple(source_line(key) for key in ("iso_13443", "iso_6976", "purge_volumes")),
    )


def explain_methane(recorded: RecordedOption) -> Explanation:
    """Explain the carbon dioxide equivalent of the gas lost."""
    sheet = ExplanationSheet()
    gas = recorded.gas
    sheet.given(
        "V",
        recorded.option.vent.total_m3,
        "m³ at 15 °C, 101.325 kPa",
        "gas lost",
        f"{recorded.place}, vent, total_m3: explain gas",
    )
    density = gas.density_kg_per_m3_at(METRIC_STANDARD)
    of = "table components.csv (source iso_6976)"
    sheet.given("rho", density, "kg/m³", "density at 15 °C, 101.325 kPa", of)
    sheet.given("M", gas.molar_mass_kg_per_mol, "kg/mol", "molar mass of the gas", of)
    sheet.given(
        "x", gas.fraction_of("methane"), "", "mole fraction of methane", "rule gas.name or gas.composition"
    )
    sheet.given("M_CH4", components()["methane"].molar_mass_kg_per_mol, "kg/mol", "molar mass of methane", of)
    sheet.given(
        "GWP",
        recorded.rules.purge.gwp_methane,
        "kg CO2e/kg",
        recorded.option.vent.gwp or "warming potential",
        rule_origin(recorded.rules, "purge.gwp_methane"),
    )
    sheet.work("n", "V * rho / M", "mol", "all gas")
    methane = sheet.work(
        "m_CH4", "n * x * M_CH4", "kg", f"methane; the plan says {recorded.option.vent.methane_kg} kg"
    )
    result = sheet.work("CO2e", "m_CH4 * GWP", "kg CO2e")
    del methane
    return Explanation(
        figure="co2e",
        title="Methane lost, as carbon dioxide",
        parts=tuple(sheet.parts),
        result=result,
        unit="kg CO2e",
        stated=recorded.option.vent.co2e_kg,
        where=f"{recorded.place}, vent, co2e_kg",
        within=0.5e-3 + 0.5e-6 * recorded.rules.purge.gwp_methane,
        notes=("The planning rules choose the potential; other published ones stand in vent, co2e_by_gwp.",),
        sources=(source_line("iso_6976"), source_line("gwp_ar5")),
    )


def _total(sheet: ExplanationSheet, recorded: RecordedOption) -> float:
    kelvin = ZERO_CELSIUS_K + recorded.rules.gas.ground_temp_c
    gas = recorded.gas
    of = "table components.csv (source iso_6976)"
    sheet.given("p_ref", ATMOSPHERE_PA_ABS, "Pa absolute", "air pressure, and reference", "source iso_13443")
    sheet.given("T_ref", STANDARD_TEMPERATURE_K, "K", "reference temperature, 15 °C", "source iso_13443")
    sheet.given(
        "T", kelvin, "K", "temperature in the ground", rule_origin(recorded.rules, "gas.ground_temp_c")
    )
    sheet.given(
        "Z_ref", gas.compressibility(STANDARD_TEMPERATURE_K, ATMOSPHERE_PA_ABS), "", "Z at reference", of
    )
    shrink = 1.0 - gas.compressibility(kelvin, ATMOSPHERE_PA_ABS)
    sheet.given("z", shrink, "", "1 − Z in the ground at p_ref; it grows with the pressure", of)
    sheet.given(
        "n_in",
        recorded.rules.purge.volumes_in,
        "",
        "volumes fed in",
        rule_origin(recorded.rules, "purge.volumes_in"),
    )
    lengths = [*_zone(recorded), *_gaps(recorded)]
    columns = [
        read("pipe", "", (row.name for row in lengths)),
        read("from", "m", (row.from_m for row in lengths)),
        read("to", "m", (row.to_m for row in lengths)),
        read("L", "m", (row.length_m for row in lengths), "length"),
        read("d", "m", (row.bore_mm / MM_PER_M for row in lengths), "bore"),
        read(
            "p", "mbar gauge", (row.pressure_mbar for row in lengths), "before the stops, mean of both ends"
        ),
    ]
    columns.append(sheet.column("G", "pi / 4 * d**2 * L", "m³ actual", columns, "volume of the bore"))
    columns.append(
        sheet.column(
            "V",
            "G * (p * 100 + p_ref) / p_ref * T_ref / T * Z_ref / (1 - z * (p * 100 + p_ref) / p_ref)",
            "m³",
            columns,
            "content at 15 °C, 101.325 kPa",
        )
    )
    columns.append(
        sheet.column("V_flat", "G * T_ref / T * Z_ref / (1 - z)", "m³", columns, "the same at air pressure")
    )
    title = "Lengths in the zones, and gaps between the two barriers of double stops"
    sheet.table(
        SheetTable(title, "layers pipes and nodes of plan.gpkg; gaps: rule method.assembly", tuple(columns))
    )
    sheet.sum(
        "content", columns[-2], "m³", f"line content; the plan says {recorded.option.vent.line_content_m3}"
    )
    sheet.sum("flat", columns[-1], "m³", "of it at air pressure: what has to be pushed out")
    sheet.work(
        "purge",
        "(n_in - 1) * flat",
        "m³",
        f"lost while gas comes back; the plan says {recorded.option.vent.purge_m3}",
    )
    return sheet.work("total", "content + purge", "m³")


def _zone(recorded: RecordedOption) -> list[_Length]:
    found, pipes = [], recorded.state.pipes
    for row in np.flatnonzero(pipes.state == PieceState.ISOLATED).tolist():
        own = pipes.rows_of(pipes.pipe_id[row], is_main=bool(pipes.is_main[row]))
        from_m, to_m = float(pipes.from_m[row]), float(pipes.to_m[row])
        length_m, bore_mm = float(pipes.length_m[row]), float(pipes.bore_mm[row])
        before = _before(recorded, own, from_m, to_m)
        found.append(_Length(pipes.name(row), from_m, to_m, length_m, bore_mm, before))
    return found


def _before(recorded: RecordedOption, own: Ints, from_m: float, to_m: float) -> float:
    """Return the mean pressure before the stops at the ends of the piece a length belongs to [mbar gauge].

    A stop's own nodes had no pressure before: the next node that had one counts.
    """
    places: dict[float, float] = {}
    pipes = recorded.state.pipes
    for row in own.tolist():
        for at, node in ((pipes.from_m[row], pipes.from_node[row]), (pipes.to_m[row], pipes.to_node[row])):
            pressure = recorded.pressure_before_mbar(int(node))
            if math.isfinite(pressure):
                places[float(at)] = pressure
    low = [at for at in places if at <= from_m + 1e-9]
    high = [at for at in places if at >= to_m - 1e-9]
    ends = ([places[max(low)]] if low else []) + ([places[min(high)]] if high else [])
    return sum(ends) / len(ends) if ends else 0.0


def _gaps(recorded: RecordedOption) -> list[_Length]:
    found, pipes = [], recorded.state.pipes
    for stop in recorded.option.stops:
        method = next((m for m in recorded.rules.method if m.name == stop.method), None)
        offsets = [] if method is None else [p.offset_m for p in method.assembly if p.role == "barrier"]
        if len(offsets) < 2:
            continue
        own = pipes.rows_of(stop.main_id, is_main=True)
        node = live_node(recorded, stop, was_there=True)
        pressure = recorded.pressure_before_mbar(node) if node >= 0 else 0.0
        gap = max(offsets) - min(offsets)
        away = gap if stop.work_side == "from" else -gap
        ends = sorted((stop.chainage_m, stop.chainage_m + away))
        # Across a record boundary the second barrier lies on the next main: this one ends before.
        low, high = (min(max(at, 0.0), float(pipes.to_m[own].max())) for at in ends)
        bore = float(pipes.bore_mm[own[0]])
        pressure = 0.0 if math.isnan(pressure) else pressure
        found.append(_Length(f"gap of {stop.id}, {stop.main_id}", low, high, gap, bore, pressure))
    return found


def explain_purge(recorded: RecordedOption) -> Explanation:
    """Explain the least velocity of the purge."""
    sheet = ExplanationSheet()
    pipes = recorded.state.pipes
    rows = np.flatnonzero((pipes.state == PieceState.ISOLATED) & pipes.is_main)
    widest = int(rows[pipes.bore_mm[rows].argmax()])
    sheet.given(
        "d",
        float(pipes.bore_mm[widest]) / MM_PER_M,
        "m",
        "widest bore of the zone",
        f"layer pipes, {pipes.pipe_id[widest]}, bore_mm",
    )
    sheet.given("g", GRAVITY_M_PER_S2, "m/s²", "gravity", "source standard_gravity")
    for name, key in (("v_0", "least_velocity_m_s"), ("c", "froude")):
        sheet.given(
            name,
            purge_figure(key),
            "",
            key.replace("_", " "),
            "table purge_figures.csv (source purge_velocity)",
        )
    result = sheet.work("v", "max(v_0, c * sqrt(g * d))", "m/s actual")
    return Explanation(
        figure="purge-velocity",
        title="Least velocity of the purge, so that gas and air do not slide over each other",
        parts=tuple(sheet.parts),
        result=result,
        unit="m/s",
        stated=float(recorded.option.purge.least_velocity_m_s or 0.0),
        where=f"{recorded.place}, purge, least_velocity_m_s",
        within=1e-3,
        notes=("Holds for natural gas only; hydrogen-rich gas is purged through inert gas.",),
        sources=(source_line("purge_velocity"),),
    )


def explain_nitrogen(recorded: RecordedOption) -> Explanation:
    """Explain the nitrogen that goes in ahead of gas below its least flow."""
    sheet, pipes = ExplanationSheet(), recorded.state.pipes
    rows = np.flatnonzero((pipes.state == PieceState.ISOLATED) & pipes.is_main).tolist()
    sheet.given(
        "n",
        purge_figure("inert_fill_volumes"),
        "",
        "volumes of nitrogen for one volume of main, mixing counted",
        "table purge_figures.csv (source purge_volumes)",
    )
    columns = [
        read("pipe", "", (pipes.name(row) for row in rows)),
        read("L", "m", (float(pipes.length_m[row]) for row in rows), "length"),
        read("d", "m", (float(pipes.bore_mm[row]) / MM_PER_M for row in rows), "bore"),
    ]
    columns.append(sheet.column("G", "pi / 4 * d**2 * L", "m³ actual", columns, "volume of the bore"))
    sheet.table(SheetTable("Mains in the zones", "layer pipes of plan.gpkg", tuple(columns)))
    sheet.sum("volume", columns[-1], "m³ actual", "mains that are swept")
    result = sheet.work("nitrogen", "n * volume", "m³ actual")
    return Explanation(
        figure="purge-nitrogen",
        title="Nitrogen ahead of the gas, which stays below its least flow",
        parts=tuple(sheet.parts),
        result=result,
        unit="m³ actual",
        stated=float(recorded.option.purge.nitrogen_m3 or 0.0),
        where=f"{recorded.place}, purge, slug_m3 of its points together",
        within=0.5e-3 * len(recorded.option.purge.points) + _PRINTED,
        notes=("A slug shorter than the mains is laid over by gas below the least flow, as air is.",),
        sources=(source_line("purge_volumes"),),
    )
