"""Figures as people read them: rounded for their kind, with the unit, metric or US."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, Literal

from netplan.errors import BadInputError
from netplan.units import convert

__all__ = ["METRIC", "US", "Figures", "figures_of"]

UNKNOWN: Final = "–"


@dataclass(frozen=True, slots=True)
class Kind:
    """How one kind of quantity is shown: stored unit, shown unit (pint's words), its sign, decimals."""

    stored: str
    shown: str
    sign: str
    decimals: int | None
    """Digits behind the point; None: three significant figures."""


@dataclass(frozen=True, slots=True)
class Figures:
    """Writes quantities in one system of units.

    Every method takes the figure in the unit of plan.json and returns text; an unknown one gives a dash.
    """

    name: Literal["metric", "us"]
    kinds: tuple[tuple[str, Kind], ...]

    def kind(self, what: str) -> Kind:
        """Return how a kind of quantity is shown."""
        return dict(self.kinds)[what]

    def number(self, what: str, value: float | None) -> float | None:
        """Return the figure in the shown unit, rounded as it is shown; None when unknown."""
        if value is None or not math.isfinite(value):
            return None
        kind = self.kind(what)
        shown = convert(value, kind.stored, kind.shown) if kind.stored != kind.shown else value
        return round(shown, _decimals(shown) if kind.decimals is None else kind.decimals) + 0.0

    def bare(self, what: str, value: float | None) -> str:
        """Return the figure without its unit, for tables that say the unit once."""
        shown = self.number(what, value)
        if shown is None:
            return UNKNOWN
        kind = self.kind(what)
        decimals = _decimals(shown) if kind.decimals is None else kind.decimals
        return f"{shown:.{max(decimals, 0)}f}".replace("-", "−")

    def text(self, what: str, value: float | None) -> str:
        """Return the figure with its unit."""
        bare = self.bare(what, value)
        return bare if bare == UNKNOWN else f"{bare} {self.kind(what).sign}"

    def pressure(self, mbar: float | None) -> str:
        """Return a gauge pressure, to 0.1 mbar."""
        return self.text("pressure", mbar)

    def flow(self, m3h: float | None) -> str:
        """Return a flow at reference conditions, to three figures."""
        return self.text("flow", m3h)

    def length(self, m: float | None) -> str:
        """Return a length."""
        return self.text("length", m)

    def chainage(self, m: float | None) -> str:
        """Return a place along a main, to the centimetre or so."""
        return self.text("chainage", m)

    def size(self, mm: float | None) -> str:
        """Return a diameter or wall."""
        return self.text("size", mm)

    def volume(self, m3: float | None) -> str:
        """Return a volume, to three figures."""
        return self.text("volume", m3)

    def temperature(self, celsius: float | None) -> str:
        """Return a temperature."""
        return self.text("temperature", celsius)

    def speed(self, m_s: float | None) -> str:
        """Return an actual velocity."""
        return self.text("speed", m_s)

    def mass(self, kg: float | None) -> str:
        """Return a mass, to three figures."""
        return self.text("mass", kg)


def _decimals(shown: float) -> int:
    if shown == 0:
        return 0
    return 2 - math.floor(math.log10(abs(shown)))


METRIC: Final = Figures(
    "metric",
    (
        ("pressure", Kind("mbar", "mbar", "mbar", 1)),
        ("flow", Kind("m**3/hour", "m**3/hour", "m³/h", None)),
        ("length", Kind("m", "m", "m", 1)),
        ("chainage", Kind("m", "m", "m", 2)),
        ("size", Kind("mm", "mm", "mm", 1)),
        ("volume", Kind("m**3", "m**3", "m³", None)),
        ("temperature", Kind("degC", "degC", "°C", 1)),
        ("speed", Kind("m/s", "m/s", "m/s", 1)),
        ("mass", Kind("kg", "kg", "kg", None)),
    ),
)
US: Final = Figures(
    "us",
    (
        ("pressure", Kind("mbar", "inH2O_trade", "in. w.c.", 2)),
        ("flow", Kind("m**3/hour", "foot**3/hour", "ft³/h", None)),
        ("length", Kind("m", "foot", "ft", 1)),
        ("chainage", Kind("m", "foot", "ft", 2)),
        ("size", Kind("mm", "inch", "in", 2)),
        ("volume", Kind("m**3", "foot**3", "ft³", None)),
        ("temperature", Kind("degC", "degF", "°F", 0)),
        ("speed", Kind("m/s", "foot/second", "ft/s", 1)),
        ("mass", Kind("kg", "pound", "lb", None)),
    ),
)


def figures_of(units: str) -> Figures:
    """Return the figures of a system of units by its name.

    Raises
    ------
    BadInputError
        When the name is neither ``metric`` nor ``us``.
    """
    for figures in (METRIC, US):
        if figures.name == units:
            return figures
    raise BadInputError(f"units: {units[:40]!r} is not known; use metric or us")
