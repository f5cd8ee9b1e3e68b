"""Figures for purging: velocities, end points, distances, cautions, leak paths."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from netplan.core.sources import source
from netplan.reference import table_rows

__all__ = [
    "EndPoint",
    "LeakPath",
    "end_point_words",
    "end_points",
    "leak_paths",
    "purge_cautions",
    "purge_distances",
    "purge_figure",
]


@dataclass(frozen=True, slots=True)
class EndPoint:
    """When a purge or a check is over.

    Parameters
    ----------
    phase : str
        out (of service), in (to service) or entry (into the trench).
    medium : str
        What drives: any, gas on air, inert gas.
    measured, relation : str
        What is read, and whether it has to be below or above.
    value : float
        The reading.
    unit : str
        ``% LFL`` or ``% volume``: never one without the other being said.
    source : str
        Source key.
    """

    phase: str
    medium: str
    measured: str
    relation: str
    value: float
    unit: str
    source: str

    def line(self, lower_flammable_percent: float | None = None) -> str:
        """Return it in words; a share of the LFL is also said in % volume where the LFL is known."""
        also = ""
        if self.unit == "% LFL" and lower_flammable_percent is not None:
            also = f" ({self.value / 100.0 * lower_flammable_percent:.2g} % volume of this gas)"
        return f"{self.measured} {self.relation} {self.value:g} {self.unit}{also}"


@dataclass(frozen=True, slots=True)
class LeakPath:
    """A stated way past a stop of one kind.

    Parameters
    ----------
    kind : str
        bag, squeeze or valve.
    gap_m, contact_m : float
        Height of the slit and its length along the flow [m].
    round_the_bore : bool
        True when the slit runs round the bore (width π d), False for a flattened pipe (width π d / 2).
    words, source : str
    """

    kind: str
    gap_m: float
    contact_m: float
    round_the_bore: bool
    words: str
    source: str


@lru_cache(maxsize=1)
def end_points() -> tuple[EndPoint, ...]:
    """Return every end point."""
    return tuple(
        EndPoint(
            r["phase"], r["medium"], r["measured"], r["relation"], float(r["value"]), r["unit"], r["source"]
        )
        for r in table_rows("purge_end_points.csv")
    )


def end_point_words(
    points: Sequence[EndPoint], lower_flammable_percent: float | None = None
) -> tuple[str, ...]:
    """Return end points in words, each behind its phase; a least and a greatest of one reading as a range."""
    found: dict[tuple[str, str], list[EndPoint]] = {}
    for point in points:
        read = point.measured.removesuffix(" from below").removesuffix(" from above")
        found.setdefault((point.phase, read), []).append(point)
    lines = []
    for (phase, read), same in found.items():
        if [point.relation for point in same] == ["above", "below"]:
            low, high = same
            unit = high.unit.replace("volume", "vol")
            lines.append(f"{phase}: {read} between {low.value:g} and {high.value:g} {unit}")
        else:
            lines += [f"{phase}: {point.line(lower_flammable_percent)}" for point in same]
    return tuple(lines)


@lru_cache(maxsize=1)
def leak_paths() -> dict[str, LeakPath]:
    """Return the stated leak path of each kind of stop."""
    return {
        r["kind"]: LeakPath(
            kind=r["kind"],
            gap_m=float(r["gap_mm"]) / 1000.0,
            contact_m=float(r["contact_m"]),
            round_the_bore=r["width"] == "round",
            words=r["words"],
            source=r["source"],
        )
        for r in table_rows("purge_let_by.csv")
    }


@lru_cache(maxsize=1)
def purge_distances() -> tuple[tuple[str, float, str], ...]:
    """Return how far an outlet stays from what: words, feet, source key [ft]."""
    return tuple((r["what"], float(r["distance_ft"]), r["source"]) for r in table_rows("purge_distances.csv"))


@lru_cache(maxsize=1)
def purge_cautions() -> tuple[str, ...]:
    """Return the cautions, each with its source in words."""
    return tuple(f"{r['words']} [{source(r['source']).title}]" for r in table_rows("purge_cautions.csv"))


@lru_cache(maxsize=32)
def purge_figure(key: str) -> float:
    """Return a figure by its key, in the unit that the table states."""
    return next(float(r["value"]) for r in table_rows("purge_figures.csv") if r["key"] == key)
