"""Figures as people read them: rounded for their kind, with the unit, metric or US."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final, Literal

from netplan.core.errors import BadInputError, quoted
from netplan.core.units import convert, rounded_down, rounded_up
from netplan.outputs.sentence_figures import METRIC_REFERENCE, PSI_FROM_MBAR, in_us_units

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
US_OF_METRIC_REFERENCE: Final = "59 °F, 14.696 psia"
"""15 °C, 101.325 kPa in US units: what US figures are at where the rules state no base of their own."""
FIGURES_CAUTION: Final = "Planning figures: the operator's rules, local codes and competent people govern."
"""What stands below figures that are shown alone."""


@dataclass(frozen=True, slots=True)
class FigureKind:
    """How one kind of quantity is shown: stored unit, shown unit (pint's words), its sign, decimals."""

    stored: str
    shown: str
    sign: str
    decimals: int | None
    """Digits behind the point; None: three significant figures."""
    share: float = 1.0
    """What one of the stored is at the conditions shown [-]: not 1 for standard volumes and flows alone."""


@dataclass(frozen=True, slots=True)
class Figures:
    """Writes quantities in one system of units.

    Every method takes the figure in the unit of plan.json and returns text; an unknown one gives a dash.
    A limit is rounded to the safe side only: `coldest`, `held`, `needed`,
    `against`, `capacity`, `load` and `speed_reached` say to which.
    """

    name: Literal["metric", "us"]
    kinds: tuple[tuple[str, FigureKind], ...]
    reference: str = METRIC_REFERENCE
    """Conditions that flows and volumes are shown at, to be printed beside them."""

    @property
    def is_us(self) -> bool:
        """Whether people read US units."""
        return self.name == "us"

    @property
    def paper(self) -> str:
        """Size of paper, by the typesetter's name."""
        return "us-letter" if self.is_us else "a4"

    def kind(self, what: str) -> FigureKind:
        """Return how a kind of quantity is shown."""
        return dict(self.kinds)[what]

    def number(self, what: str, value: float | None, side: Side = "nearest") -> float | None:
        """Return the figure in the shown unit, rounded as it is shown; None when unknown."""
        if value is None or not math.isfinite(value):
            return None
        kind = self.kind(what)
        shown = convert(value, kind.stored, kind.shown) if kind.stored != kind.shown else value
        shown *= kind.share
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

    def bore(self, mm: float | None) -> str:
        """Return the size of a hose, outlet, tapping or stack; in US units the nominal one, as 1-1/2 in."""
        from netplan.reference.outlet_sizes import inch_name  # tables that reading an option does not need

        name = inch_name(mm, by_nominal=True) if self.is_us and mm is not None else ""
        return f"{name} {self.kind('size').sign}" if name else self.size(mm)

    def hose_sizes(self, text: str) -> str:
        """Return sizes of hoses that planning wrote, such as ``2 × 51 mm``; other words stay."""
        return self.sentence(f"bores {text}").removeprefix("bores ")

    def pipe(self, od_mm: float | None) -> str:
        """Return the outside diameter of a pipe, in US units after its nominal size where there is one."""
        from netplan.reference.pipe_sizes import inch_pipe_name  # loads an array package

        name = inch_pipe_name(od_mm) if self.is_us and od_mm is not None else ""
        return f"{name} (OD {self.size(od_mm)})" if name else self.size(od_mm)

    def rating(self, mbar: float | None) -> str:
        """Return a gauge pressure that something may be held at, a rating or test: high ones in psi."""
        if not self.is_us or mbar is None or mbar < PSI_FROM_MBAR:
            return self.held(mbar)
        return self.text("high_pressure", mbar, "down")

    def let_by(self, l_min: float) -> str:
        """Return a let-by limit or the least that a meter must show: never more than the truth."""
        if not self.is_us:
            return f"{l_min:g} l/min"
        return self.text("let_by", l_min, "down")

    def volume(self, m3: float | None) -> str:
        """Return a volume at reference conditions, to three figures."""
        return self.text("volume", m3)

    def space(self, m3: float | None) -> str:
        """Return an actual volume, such as that of a pipe, to three figures."""
        return self.text("space", m3)

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
        """Return a sentence of the plan in these units; planning writes them metric.

        See `sentence_figures` for what is converted, how fine and to which side.
        """
        if not self.is_us:
            return text
        return in_us_units(text, self.reference, self.kind("volume").share)

    def at_reference(self, reference: str, share: float) -> Figures:
        """Return these figures with flows and volumes at other reference conditions.

        Parameters
        ----------
        reference : str
            The conditions, as they are printed.
        share : float
            What one volume at 15 °C, 101.325 kPa is at these [-].
        """
        kinds = tuple(
            (name, replace(kind, share=share) if name in ("flow", "volume") else kind)
            for name, kind in self.kinds
        )
        return replace(self, kinds=kinds, reference=reference)

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
        ("high_pressure", FigureKind("mbar", "mbar", "mbar", 1)),
        ("flow", FigureKind("m**3/hour", "m**3/hour", "m³/h", None)),
        ("length", FigureKind("m", "m", "m", 1)),
        ("chainage", FigureKind("m", "m", "m", 2)),
        ("size", FigureKind("mm", "mm", "mm", 1)),
        ("volume", FigureKind("m**3", "m**3", "m³", None)),
        ("space", FigureKind("m**3", "m**3", "m³", None)),
        ("let_by", FigureKind("liter/minute", "liter/minute", "l/min", None)),
        ("temperature", FigureKind("degC", "degC", "°C", 1)),
        ("speed", FigureKind("m/s", "m/s", "m/s", 1)),
        ("mass", FigureKind("kg", "kg", "kg", None)),
    ),
)
US: Final = Figures(
    "us",
    (
        ("pressure", FigureKind("mbar", "inH2O_trade", "in. w.c.", 2)),
        ("high_pressure", FigureKind("mbar", "psi", "psi", 1)),
        ("flow", FigureKind("m**3/hour", "foot**3/hour", "ft³/h", None)),
        ("length", FigureKind("m", "foot", "ft", 1)),
        ("chainage", FigureKind("m", "foot", "ft", 2)),
        ("size", FigureKind("mm", "inch", "in", 2)),
        ("volume", FigureKind("m**3", "foot**3", "ft³", None)),
        ("space", FigureKind("m**3", "foot**3", "ft³", None)),
        ("let_by", FigureKind("liter/minute", "foot**3/hour", "ft³/h", None)),
        ("temperature", FigureKind("degC", "degF", "°F", 1)),
        ("speed", FigureKind("m/s", "foot/second", "ft/s", 1)),
        ("mass", FigureKind("kg", "pound", "lb", None)),
    ),
    US_OF_METRIC_REFERENCE,
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
