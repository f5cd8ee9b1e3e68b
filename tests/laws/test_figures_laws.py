"""Limits are rounded to the safe side: against exact conversions that share nothing with the package."""

from __future__ import annotations

import math
from fractions import Fraction

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from netplan.core.errors import BadInputError
from netplan.core.units import quantity, rounded_down, rounded_up
from netplan.outputs.number_format import METRIC, US, Figures
from netplan.planfile.model import Bypass, Gauge, LeastPressure, Place, State, WeatherLine

# Exact by definition: 1 ft = 0.3048 m, 1 in = 25.4 mm, °F; 1 inH2O at 4 °C = 249.0889 Pa (from memory).
FOOT = Fraction(3048, 10000)
US_UNITS = {
    "pressure": lambda x: x * 100 / Fraction(2490889, 10000),
    "flow": lambda x: x / FOOT**3,
    "temperature": lambda x: x * Fraction(9, 5) + 32,
    "speed": lambda x: x / FOOT,
}
SAFE = {
    "coldest": ("temperature", 1),
    "held": ("pressure", -1),
    "needed": ("pressure", 1),
    "against": ("pressure", 1),
    "capacity": ("flow", -1),
    "load": ("flow", 1),
    "speed_reached": ("speed", 1),
}
NOISE = Fraction(1, 10**6)

plan_digits = st.integers(-60_000, 60_000).map(lambda n: n / 1000)
noisy = st.tuples(st.integers(-600, 600), st.integers(-4, 4)).map(
    lambda pair: pair[0] / 10 + pair[1] * math.ulp(pair[0] / 10)
)
anything = (plan_digits | noisy | st.floats(-60, 60)).filter(lambda x: x == 0.0 or abs(x) > 1e-12)


def _read(text: str) -> tuple[Fraction, Fraction]:
    """Return the number that a text states, and one unit of its last digit."""
    number = text.split(" ")[0].replace("−", "-")
    if len(text.split("m³/h")) > 1 or "ft³" in text:
        digits = number.lstrip("-").replace(".", "").lstrip("0")
        if len(digits) > 3:  # three figures: the zeros behind them say nothing
            return Fraction(number), Fraction(10 ** (len(digits) - 3))
    return Fraction(number), Fraction(1, 10 ** len(number.partition(".")[2]))


@pytest.mark.parametrize("units", [METRIC, US], ids=["metric", "us"])
@pytest.mark.parametrize("name", SAFE)
@given(value=anything)
@example(value=4.1)
@example(value=4.0)
@example(value=0.0)
@example(value=0.05)
@example(value=-8.05)
@example(value=0.1 + 0.2)
@example(value=3 * 1.1)
@example(value=9.996)
@example(value=17.436223)
def test_no_limit_is_rounded_to_the_wrong_side(name: str, units: Figures, value: float) -> None:
    kind, side = SAFE[name]
    if kind in ("flow", "speed"):
        value = abs(value)
    exact = Fraction(value) if units is METRIC else US_UNITS[kind](Fraction(value))
    stated, unit = _read(getattr(units, name)(value))
    if exact == 0 and kind == "flow":
        assert stated == 0
        return
    # Three figures of 9.996 rounded up are 10.0: a tenth is said where a hundredth was rounded.
    unit = max(unit, Fraction(10) ** (math.floor(math.log10(abs(exact))) - 2)) if kind == "flow" else unit
    away = (stated - exact) * side
    assert away >= -NOISE * unit
    assert away < unit * (1 + NOISE)


@given(st.floats(-1e6, 1e6), st.integers(-2, 6))
@example(0.28, 2)
@example(1.005, 2)
@example(2.5, 0)
@example(-2.5, 0)
def test_rounding_to_a_side(value: float, digits: int) -> None:
    down, up = rounded_down(value, digits), rounded_up(value, digits)
    unit = 10.0**-digits
    slack = 1e-6 * unit + 4 * math.ulp(value)
    assert down <= value + slack
    assert up >= value - slack
    assert value - down < unit + slack
    assert up - value < unit + slack
    assert rounded_down(down, digits) == down
    assert rounded_up(up, digits) == up
    assert (down, up) == (round(down, max(digits, 0)), round(up, max(digits, 0)))


tenths = st.integers(-300, 250).map(lambda n: n / 10)
hundredths = st.integers(-3000, 2500).map(lambda n: n / 100)


@pytest.mark.parametrize("units", [METRIC, US], ids=["metric", "us"])
@given(planned=hundredths, limits=st.lists(tenths | hundredths, min_size=1, max_size=5))
@example(planned=4.0, limits=[4.1])
@example(planned=4.09, limits=[4.1])
@example(planned=4.3, limits=[4.3])
@example(planned=3.89, limits=[3.9, 3.89])
def test_what_holds_never_reads_like_what_does_not(
    units: Figures, planned: float, limits: list[float]
) -> None:
    found = units.telling_apart("temperature", [planned], limits)
    stated, _ = _read(found.temperature(planned))
    for limit in limits:
        at, _ = _read(found.coldest(limit))
        assert (stated > at) - (stated < at) == (planned > limit) - (planned < limit)
    assert len({found.coldest(limit) for limit in limits}) == len(set(limits))


@given(st.floats(-50, 100))
@example(19.0 - 1e-9)
@example(18.9995)
@example(18.9994)
def test_plan_json_rounds_limits_to_the_safe_side(value: float) -> None:
    below, above = -1e-3 - 1e-9, 1e-3 + 1e-9
    slack = 2e-7  # what solving to rounding may cost [mbar]
    place = Place(main_id="M", chainage_m=0.0, x=0.0, y=0.0)
    state = State(after_step="x", least_mbar=value, at="", station_flows_m3h={})
    least = LeastPressure(least_mbar=value, at="")
    bypass = Bypass(
        id="B1",
        from_=place,
        to=place,
        flow_m3h=1.0,
        bore_mm=25.0,
        parallel=1,
        length_m=1.0,
        loss_coefficient=1.0,
        drop_mbar=1.0,
        velocity_m_s=1.0,
        pressure_from_mbar=1.0,
        pressure_to_mbar=1.0,
        spare_m3h=value,
        minimum_air_temp_c=value,
    )
    for held in (state.least_mbar, least.least_mbar, bypass.spare_m3h):
        assert held is not None
        assert below < held - value <= slack
    gauge = Gauge(
        id="G1", main_id="M", chainage_m=0.0, normal_mbar=value, warning_mbar=value, abort_mbar=value
    )
    assert gauge.normal_mbar == gauge.warning_mbar == gauge.abort_mbar
    assert -slack <= gauge.abort_mbar - value < above
    line = WeatherLine(feed="", choice="x", coldest_air_temp_c=value)
    for coldest in (line.coldest_air_temp_c, bypass.minimum_air_temp_c):
        assert coldest is not None
        assert -2e-6 <= coldest - value < 1e-2 + 1e-9


@given(st.text(max_size=60))
@example("1 m**9**9**9")
@example("1 km⁹⁹⁹⁹⁹⁹⁹⁹⁹")
def test_no_text_is_worked_out_as_a_quantity(text: str) -> None:
    said = ""
    try:
        value = quantity(text, "m", "--length")
    except BadInputError as error:
        value, said = 0.0, str(error)
    assert math.isfinite(value)
    assert not said or (said.startswith("--length: ") and len(said) < 300)


@given(st.floats(-60, 60))
def test_a_temperature_of_either_scale_is_the_same_reading(celsius: float) -> None:
    fahrenheit = float(US_UNITS["temperature"](Fraction(celsius)))
    for word in ("°F", "degF", "F", "° F"):
        assert quantity(f"{fahrenheit!r} {word}", "degC", "--air-temp") == pytest.approx(celsius, abs=1e-9)
    assert quantity(repr(fahrenheit), "degC", "--air-temp", "degF") == pytest.approx(celsius, abs=1e-9)
