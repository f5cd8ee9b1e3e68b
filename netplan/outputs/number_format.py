"""Figures as people read them: rounded for their kind, with the unit, metric or US."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final, Literal

from netplan.core.errors import BadInputError, quoted
from netplan.core.units import convert, rounded_down, rounded_up

if TYPE_CHECKING:
    from netplan.planfile.model import Plan

__all__ = ["FIGURES_CAUTION", "METRIC", "US", "Figures", "Side", "figures_for_weather", "figures_of"]


Side = Literal["nearest", "down", "up"]
"""How a figure is rounded: to the nearest, or never above or never below the truth."""
_ROUND: Final[dict[Side, Callable[[float, int], float]]] = {
    "nearest": round,
    "down": rounded_down,
    "up": rounded_up,
}
MOST_MORE_DIGITS: Final = 3
"""How many digits beyond the usual may tell two temperatures apart (own)."""

UNKNOWN: Final = "–"
FIGURES_CAUTION: Final = "Planning figures: the operator's rules, local codes and competent people govern."
"""What stands below figures that are shown alone."""


_SENTENCE_KINDS: Final = {
    "mbar": "pressure",
    "m³/h": "flow",
    "m/s": "speed",
    "m³": "volume",
    "mm": "size",
    "m": "length",
    "°C": "temperature",
    "kg": "mass",
}
_FIGURE: Final = r"[-−]?\d[\d,]*(?:\.\d+)?"
_METRIC_FIGURE: Final = re.compile(
    rf"(?<![\w.:/,-])(?P<one>{_FIGURE})(?: to (?P<other>{_FIGURE}))? "
    rf"(?P<unit>{'|'.join(_SENTENCE_KINDS)})(?![\w³²/°])",
    re.ASCII,
)


@dataclass(frozen=True, slots=True)
class FigureKind:
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
    A limit is rounded to the safe side only: `coldest`, `held`, `needed`,
    `against`, `capacity`, `load` and `speed_reached` say to which.
    """

    name: Literal["metric", "us"]
    kinds: tuple[tuple[str, FigureKind], ...]

    def kind(self, what: str) -> FigureKind:
        """Return how a kind of quantity is shown."""
        return dict(self.kinds)[what]

    def number(self, what: str, value: float | None, side: Side = "nearest") -> float | None:
        """Return the figure in the shown unit, rounded as it is shown; None when unknown."""
        if value is None or not math.isfinite(value):
            return None
        kind = self.kind(what)
        shown = convert(value, kind.stored, kind.shown) if kind.stored != kind.shown else value
        return _ROUND[side](shown, _decimals(shown) if kind.decimals is None else kind.decimals) + 0.0

    def bare(self, what: str, value: float | None, side: Side = "nearest") -> str:
        """Return the figure without its unit, for tables that say the unit once."""
        shown = self.number(what, value, side)
        if shown is None:
            return UNKNOWN
        kind = self.kind(what)
        decimals = _decimals(shown) if kind.decimals is None else kind.decimals
        return f"{shown:.{max(decimals, 0)}f}".replace("-", "−")

    def text(self, what: str, value: float | None, side: Side = "nearest") -> str:
        """Return the figure with its unit."""
        bare = self.bare(what, value, side)
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

    def mass(self, kg: float | None) -> str:
        """Return a mass, to three figures."""
        return self.text("mass", kg)

    def coldest(self, celsius: float | None) -> str:
        """Return the coldest air temperature that something holds for: never colder than the truth."""
        return self.text("temperature", celsius, "up")

    def held(self, mbar: float | None) -> str:
        """Return a gauge pressure that is held or there to be used: never more than the truth."""
        return self.text("pressure", mbar, "down")

    def needed(self, mbar: float | None) -> str:
        """Return a gauge pressure that is asked for, or a reading at which to act: never less."""
        return self.text("pressure", mbar, "up")

    def against(self, mbar: float | None) -> str:
        """Return a gauge pressure that a stop, tapping or main must stand: never less than the truth."""
        return self.text("pressure", mbar, "up")

    def capacity(self, m3h: float | None) -> str:
        """Return a flow that something can give or has to spare: never more than the truth."""
        return self.text("flow", m3h, "down")

    def load(self, m3h: float | None) -> str:
        """Return a flow that something has to carry, or that is needed: never less than the truth."""
        return self.text("flow", m3h, "up")

    def speed_reached(self, m_s: float | None) -> str:
        """Return an actual velocity that is held against a greatest one, or is needed: never less."""
        return self.text("speed", m_s, "up")

    def sentence(self, text: str) -> str:
        """Return a sentence of the plan, its metric figures followed by the same in US units.

        Planning writes sentences in metric units; what it rounded to the safe side stays in sight.
        """
        return text if self.name == "metric" else _METRIC_FIGURE.sub(self._both, text)

    def _both(self, found: re.Match[str]) -> str:
        what = _SENTENCE_KINDS[found["unit"]]
        given = [part for part in (found["one"], found["other"]) if part is not None]
        # As fine as the sentence is: figures that differ there must not read the same.
        finer = max(len(part.partition(".")[2]) for part in given) - (METRIC.kind(what).decimals or 0)
        units = self.with_more_digits(what, max(finer, 0))
        values = [float(part.replace(",", "").replace("−", "-")) for part in given]
        words = " to ".join(units.bare(what, value) for value in values)
        return f"{found[0]} ({words} {units.kind(what).sign})"

    def telling_apart(
        self, what: str, values: Iterable[float | None], limits: Iterable[float | None] = ()
    ) -> Figures:
        """Return these figures with as many digits that values and limits read in their true order.

        Values are written to the nearest and limits rounded up: with too few digits a limit of 4.1 °C and a
        plan for 4.0 °C would both read 39 °F.

        Parameters
        ----------
        what : str
            Kind of quantity.
        values, limits : iterable of (float or None)
            In the unit of plan.json.

        Returns
        -------
        Figures
            At most `MOST_MORE_DIGITS` digits more; equal figures read equal, others read apart.
        """
        sides: dict[Side, set[float]] = {
            "nearest": {value for value in values if value is not None and math.isfinite(value)},
            "up": {value for value in limits if value is not None and math.isfinite(value)},
        }
        figures = self
        for more in range(MOST_MORE_DIGITS + 1):
            figures = self.with_more_digits(what, more)
            if _in_order(figures, what, sides):
                break
        return figures

    def with_more_digits(self, what: str, more: int) -> Figures:
        """Return these figures with so many digits more for one kind of quantity."""

        def finer(kind: FigureKind) -> FigureKind:
            return kind if kind.decimals is None else replace(kind, decimals=kind.decimals + more)

        kinds = tuple((name, finer(kind) if name == what else kind) for name, kind in self.kinds)
        return replace(self, kinds=kinds)


def _in_order(figures: Figures, what: str, sides: dict[Side, set[float]]) -> bool:
    last = -math.inf
    for value in sorted(set().union(*sides.values())):
        read = {figures.number(what, value, side) for side, given in sides.items() if value in given}
        first = read.pop()
        if read or first is None or first <= last:
            return False
        last = first
    return True


def _decimals(shown: float) -> int:
    if shown == 0:
        return 0
    return 2 - math.floor(math.log10(abs(shown)))


METRIC: Final = Figures(
    "metric",
    (
        ("pressure", FigureKind("mbar", "mbar", "mbar", 1)),
        ("flow", FigureKind("m**3/hour", "m**3/hour", "m³/h", None)),
        ("length", FigureKind("m", "m", "m", 1)),
        ("chainage", FigureKind("m", "m", "m", 2)),
        ("size", FigureKind("mm", "mm", "mm", 1)),
        ("volume", FigureKind("m**3", "m**3", "m³", None)),
        ("temperature", FigureKind("degC", "degC", "°C", 1)),
        ("speed", FigureKind("m/s", "m/s", "m/s", 1)),
        ("mass", FigureKind("kg", "kg", "kg", None)),
    ),
)
US: Final = Figures(
    "us",
    (
        ("pressure", FigureKind("mbar", "inH2O_trade", "in. w.c.", 2)),
        ("flow", FigureKind("m**3/hour", "foot**3/hour", "ft³/h", None)),
        ("length", FigureKind("m", "foot", "ft", 1)),
        ("chainage", FigureKind("m", "foot", "ft", 2)),
        ("size", FigureKind("mm", "inch", "in", 2)),
        ("volume", FigureKind("m**3", "foot**3", "ft³", None)),
        ("temperature", FigureKind("degC", "degF", "°F", 1)),
        ("speed", FigureKind("m/s", "foot/second", "ft/s", 1)),
        ("mass", FigureKind("kg", "pound", "lb", None)),
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
    raise BadInputError(f"units: {quoted(units)} is not known; use metric or us")


def figures_for_weather(units: Figures, *plans: Plan) -> Figures:
    """Return the figures with digits that tell the planned air temperatures from the coldest held for.

    Parameters
    ----------
    units : Figures
    *plans : Plan
        What is read side by side.
    """
    planned = [plan.conditions.air_temp_c for plan in plans]
    return units.telling_apart("temperature", planned, (limit for plan in plans for limit in _limits(plan)))


def _limits(plan: Plan) -> Iterator[float | None]:
    for option in plan.options:
        yield from (bypass.minimum_air_temp_c for bypass in option.bypasses)
        yield from (line.coldest_air_temp_c for line in option.weather)
