"""Figures of the sentences that planning writes, in US units.

Planning, checks and the order of the work write metric sentences, which plan.json keeps. What people read in
US units goes through `in_us_units`: every number in front of one of the units of `_UNITS` is converted.

Not converted, because they are no metric figures or not the program's to change: shares (%), hours and
minutes, money, SDR, ids, chainages within an id, grid coordinates, degrees of latitude, keys of rules and
columns (``bypass.bores_mm``), and whatever stands in quotation marks.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final, Literal

from netplan.core.units import convert, rounded_down, rounded_up

__all__ = ["METRIC_REFERENCE", "PSI_FROM_MBAR", "in_us_units"]

METRIC_REFERENCE: Final = "15 °C, 101.325 kPa"
"""How sentences and plan.json write the conditions that flows and volumes are at."""


@dataclass(frozen=True, slots=True)
class SentenceUnit:
    """A unit of metric sentences: the unit shown for it (pint's words), its sign, and how fine."""

    stored: str
    shown: str
    sign: str
    more: int | None
    """Digits behind the point beyond those of the sentence; None: three significant figures at least."""
    least: int = 0
    """Digits behind the point at least."""


_UNITS: Final = {
    "mbar": SentenceUnit("mbar", "inH2O_trade", "in. w.c.", 1, 2),
    "bar": SentenceUnit("bar", "psi", "psi", 0, 1),
    "m³/h": SentenceUnit("m**3/hour", "foot**3/hour", "ft³/h", None),
    "l/min": SentenceUnit("liter/minute", "foot**3/hour", "ft³/h", None),
    "m/s": SentenceUnit("m/s", "foot/second", "ft/s", 0),
    "m³": SentenceUnit("m**3", "foot**3", "ft³", None),
    "m²": SentenceUnit("m**2", "foot**2", "ft²", None),
    "km": SentenceUnit("km", "mile", "mi", 1),
    "mm": SentenceUnit("mm", "inch", "in", 2),
    "m": SentenceUnit("m", "foot", "ft", 0),
    "°C": SentenceUnit("degC", "degF", "°F", 0),
    "kg": SentenceUnit("kg", "pound", "lb", None),
    "kWh": SentenceUnit("kWh", "therm", "therms", None),
    "kW": SentenceUnit("kW", "Btu/hour", "Btu/h", None),
}
PSI_FROM_MBAR: Final = 1000.0
"""From here on a pressure is said in psi, as ratings and strength tests are (own) [mbar]."""
_PSI: Final = SentenceUnit("mbar", "psi", "psi", 0, 1)

_FIGURE: Final = r"[-−]?\d[\d,]*(?:\.\d+)?"
_JOINT: Final = r"(?: to | and of | and | or | ± |–)"
_METRIC: Final = re.compile(
    rf"(?<![\w.:/,-])(?P<run>{_FIGURE}(?:{_JOINT}{_FIGURE})*) ?"
    rf"(?P<unit>{'|'.join(_UNITS)})(?![\w³²/°])",
    re.ASCII,
)
_ONE_OF_RUN: Final = re.compile(rf"({_JOINT})")
_FEET_FIRST: Final = re.compile(rf"(?P<feet>{_FIGURE} ft) \({_FIGURE} m\)", re.ASCII)
"""A distance that its source gives in feet needs no way back from metres."""
_QUOTED: Final = re.compile(r"('(?:[^']|(?<=\w)'(?=\w))*'|\"[^\"]*\")")
_SIZE_BEFORE: Final = re.compile(r"\b(?:bore|hose|outlet|tee|stack)s?(?: of| is| at)? (?:[0-9]+ × )?$")
"""What stands before the size of a hose or outlet, which has a nominal name; outside diameters have none."""
_MOST_BEFORE: Final = re.compile(
    r"(?:rating|rated for|above|more than|at most|beyond|longer than|up to|within|greatest|allowed)"
    r"(?: of| the)* $"
)
"""Words before a limit that must not be stated too large."""
_LEAST_BEFORE: Final = re.compile(
    r"(?:least|less than|below|minimum|needs|nearer than|under|down to|holds to)(?: of)? $"
)
"""Words before a limit that must not be stated too small."""
_MOST_AFTER: Final = re.compile(r" (?:allowed|available)\b")
_LEAST_AFTER: Final = re.compile(r" (?:needed|required)\b")
_IN_THE_PIPE: Final = " in the pipe"
"""Said behind an actual volume, which no reference conditions change."""

Side = Literal["nearest", "down", "up"]
_ROUND: Final[dict[Side, Callable[[float, int], float]]] = {
    "nearest": round,
    "down": rounded_down,
    "up": rounded_up,
}


def in_us_units(text: str, reference: str, share: float) -> str:
    """Return a metric sentence with its figures in US units.

    A figure is as fine as the sentence has it. One that the words around it call a limit ("at most", "rated
    for", "below", "needed" …) is rounded to the safe side, all others to the nearest. The size of
    a hose or outlet gets its nominal name: a bore of 51 mm is one of 2 in.

    Parameters
    ----------
    text : str
    reference : str
        Conditions that flows and volumes are shown at, in place of `METRIC_REFERENCE`.
    share : float
        What one volume at `METRIC_REFERENCE` is at these [-].
    """
    text = _FEET_FIRST.sub(lambda found: found["feet"], text.replace(METRIC_REFERENCE, reference))
    parts = _QUOTED.split(text)
    parts[::2] = [_METRIC.sub(lambda found: _shown(found, share), part) for part in parts[::2]]
    return "".join(parts)


def _shown(found: re.Match[str], share: float) -> str:
    from netplan.reference.outlet_sizes import inch_name  # a table that metric figures do not need

    unit, run = _UNITS[found["unit"]], _ONE_OF_RUN.split(found["run"])
    values = [float(one.replace(",", "").replace("−", "-")) for one in run[::2]]
    if (
        unit.stored == "mm"
        and "." not in found["run"]
        and _SIZE_BEFORE.search(found.string[: found.start()])
        and all(inch_name(value) for value in values)
    ):
        words = [inch_name(value) for value in values]
    else:
        if unit.stored == "mbar" and min(values) >= PSI_FROM_MBAR:
            unit = _PSI
        is_standard = unit.stored in ("m**3/hour", "m**3") and not found.string.startswith(
            _IN_THE_PIPE, found.end()
        )
        side = _side(found)
        words = [
            _written(one, value * (share if is_standard else 1.0), unit, side, of_band=before == " ± ")
            for one, value, before in zip(run[::2], values, ["", *run[1::2]], strict=True)
        ]
    return "".join(f"{word}{joint}" for word, joint in zip(words, [*run[1::2], ""], strict=True)) + (
        f" {unit.sign}"
    )


def _side(found: re.Match[str]) -> Side:
    before = found.string[max(found.start() - 40, 0) : found.start()]
    if found["unit"] == "mbar" and before.endswith("down to "):
        return "down"  # a pressure that is left, where a temperature "holds down to" its limit
    if _MOST_BEFORE.search(before) or _MOST_AFTER.match(found.string, found.end()):
        return "down"
    if _LEAST_BEFORE.search(before) or _LEAST_AFTER.match(found.string, found.end()):
        return "up"
    return "nearest"


def _written(given: str, value: float, unit: SentenceUnit, side: Side, *, of_band: bool) -> str:
    shown = convert(value, unit.stored, unit.shown)
    fraction = len(given.partition(".")[2])
    if unit.more is None:
        digits = max(len(re.sub(r"\D", "", given).strip("0")), 3)
        decimals = 0 if shown == 0 else digits - 1 - math.floor(math.log10(abs(shown)))
    else:
        decimals = max(fraction + unit.more, unit.least)
    rounded = _ROUND["down" if of_band else side]
    number = f"{rounded(shown, decimals) + 0.0:{',' if ',' in given else ''}.{max(decimals, 0)}f}"
    return number.replace("-", "−")
