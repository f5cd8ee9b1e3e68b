"""Excavations of the work pack: where the ground is opened, what for, how large, what each asks for."""

from __future__ import annotations

from typing import Any

from netplan.outputs.number_format import Figures
from netplan.planfile.model import Excavation, Option
from netplan.planfile.naming import served_words

__all__ = ["excavation_part"]


def excavation_part(option: Option, units: Figures) -> dict[str, Any]:
    """Return the table of excavations, with what comes before any of them."""
    first = list(dict.fromkeys(one.locate_first for one in option.excavations))
    return {
        "excavations": [_row(one, units) for one in option.excavations],
        "locate-first": first,
    }


def _by_surface(one: Excavation, units: Figures) -> list[str]:
    """Return the surfaces, with main and chainages of each where there are several mains."""
    if len(one.lengths) < 2:
        return list(one.surface)
    return [
        f"{part.surface}: {part.main_id}, {units.chainage(part.from_m)} to {units.chainage(part.to_m)}"
        for part in one.lengths
    ]


def _row(one: Excavation, units: Figures) -> dict[str, str]:
    size = f"{units.length(one.length_m)} × {units.length(one.width_m)}, {units.length(one.depth_m)} deep"
    return {
        "id": one.id,
        "place": f"{one.main_id} at {units.chainage(one.chainage_m)}"
        + (f", {one.street}" if one.street else ""),
        "grid": f"{one.x:.2f} E, {one.y:.2f} N",
        "size": size if one.cover_recorded else f"{size}; cover not on record",
        "surface": "; ".join(_by_surface(one, units)),
        "serves": served_words(one),
        "shoring": "shored" if one.shoring else "not by depth alone",
        "traffic": "; ".join(one.traffic),
    }
