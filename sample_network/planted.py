"""What a real record holds beside the plain truth: dead and planned mains, gaps and slips, all on purpose."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely
from shapely import ops

from sample_network.mains import Main
from sample_network.roads import Road

__all__ = ["dead_and_planned", "priority_households", "slip_in_mains", "slip_in_rows"]

Rows = list[dict[str, Any]]


def _beside(main: Main, offset: float) -> Any:
    low, high = (4.0, main.line.length - 4.0)
    part = shapely.LineString(ops.substring(main.line, low, high).coords)
    line = part.offset_curve(offset, join_style="mitre")
    return shapely.transform(line, lambda c: np.round(c, 3))


def dead_and_planned(mains: list[Main]) -> list[Main]:
    """Return old iron mains left dead beside their PE successors, and PE mains planned beside live iron."""
    renewed = [
        m
        for m in mains
        if m.facts["material"] == "PE100" and m.facts["od_mm"] == 125 and 70 < m.line.length < 330
        and m.line.centroid.x < 1000 and m.line.centroid.y > 330
    ][:3]  # fmt: skip
    iron = [m for m in mains if m.facts["material"] == "cast_iron" and m.line.length > 60][1:3]
    found = []
    for main in renewed:
        facts = dict(main.facts, material="cast_iron", od_mm=122.0, bore_mm=102.0, sdr=None, year=1938)
        facts |= {"joint": "socket", "resin": "", "host": "none", "record_date": "1994-05-20"}
        found.append(
            Main("", main.road, 0.0, 0.0, _beside(main, -4.2), 122.0, status="abandoned", facts=facts)
        )
    for main in iron:
        facts = dict(main.facts, material="PE100", od_mm=125.0, sdr=17.0, bore_mm=None, year=None)
        facts |= {"joint": "fusion", "resin": "PE100 orange HD", "record_date": "2025-11-10"}
        found.append(
            Main("", main.road, 0.0, 0.0, _beside(main, -3.4), 125.0, status="proposed", facts=facts)
        )
    return found


def slip_in_mains(mains: list[Main], roads: list[Road]) -> None:
    """Plant a main drawn 0.6 m short, a year with a slip, and an iron main of lower operating pressure."""
    low = [m for m in mains if m.system == "LP" and m.status == "live"]
    short = next(
        m
        for m in low
        if m.stretches and len(m.stretches) == 1 and m.stretches[0].looped and roads[m.road].kind == "local"
        and m.line.length > 80 and m.line.centroid.y < 180
    )  # fmt: skip
    short.line = shapely.transform(
        ops.substring(short.line, 0.0, short.line.length - 0.6), lambda c: np.round(c, 3)
    )
    slip = next(m for m in low if m.facts["year"] > 1990 and roads[m.road].kind == "close" and m is not short)
    slip.facts["year"] = int(slip.facts["year"]) - 900
    iron = next(m for m in low if m.facts["material"] == "cast_iron")
    iron.facts["mop_mbar"] = 50.0


def priority_households(customers: Rows, near: tuple[tuple[float, float], ...]) -> None:
    """Mark the household nearest to each place as one of medical need."""
    notes = (
        "Oxygen concentrator and electric bed upstairs; the gas boiler is the only heating. Ring twice.",
        "Dialysis at home on three evenings a week; text before calling.",
    )
    for place, note in zip(near, notes, strict=True):
        point = shapely.Point(place)
        row = min(
            (c for c in customers if c["category"] == "household" and not c["priority"]),
            key=lambda c: (float(c["geometry"].distance(point)), str(c["id"])),
        )
        row |= {"priority": "medical", "priority_note": note}


def slip_in_rows(layers: dict[str, Rows], rng: np.random.Generator) -> None:
    """Plant gaps and slips among customers, services, fittings and valves."""
    customers, services = layers["customers"], layers["services"]
    homes = [c for c in customers if c["category"] == "household" and not c["priority"]]
    plain = [c for c in homes if "Flat" not in c["address"]]
    for i in sorted(rng.choice(len(plain), 3, replace=False).tolist()):
        plain[i]["annual_kwh"] = None
    plain[40]["service_id"] = "S91140"
    gone = plain[300]
    layers["customers"] = [c for c in customers if c is not gone]
    coupler = next(f for f in layers["fittings"][200:] if f["kind"] == "coupler")
    coupler["geometry"] = shapely.Point(coupler["geometry"].x + 1.3, coupler["geometry"].y + 0.9)
    tap = shapely.Point(next(s for s in services[500:] if s["od_mm"] == 32.0)["geometry"].coords[0])
    layers["valves"].append(
        {
            "id": f"V{len(layers['valves']) + 1:03d}",
            "state": "open",
            "operable": "yes",
            "system": "LP",
            "geometry": tap,
        }
    )
