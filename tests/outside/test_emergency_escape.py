"""Gas escaping through a hole, against published flows of a perfect gas below and at the speed of sound."""

from __future__ import annotations

import math

import pytest

from netplan.core.constants import ATMOSPHERE_PA_ABS
from netplan.emergency.escape_flow import escape_m3_per_s_std, escape_range
from netplan.reference.gas import METRIC_STANDARD, named_gas
from tests.compared import compared

GAS = named_gas("natural gas")
GROUND_K = 283.15
STD = GAS.density_kg_per_m3_at(METRIC_STANDARD)


def _mass_kg_per_s(hole_m: float, gauge_pa: float, exponent: float, discharge: float) -> float:
    density = GAS.density_kg_per_m3(GROUND_K, gauge_pa + ATMOSPHERE_PA_ABS)
    flow = escape_m3_per_s_std(
        hole_m,
        gauge_pa,
        atmospheric_pa_abs=ATMOSPHERE_PA_ABS,
        density_std_kg_per_m3=STD,
        density_kg_per_m3_at_pa=density,
        isentropic_exponent=exponent,
        discharge=discharge,
    )
    return flow * STD


@pytest.mark.parametrize("gauge_mbar", [20.0, 75.0, 300.0, 800.0])
@pytest.mark.parametrize("discharge", [0.6, 1.0])
def test_below_the_speed_of_sound(gauge_mbar: float, discharge: float) -> None:
    g, p = 1.3, ATMOSPHERE_PA_ABS + gauge_mbar * 100.0
    x = ATMOSPHERE_PA_ABS / p
    # W = Cd S p sqrt(M/(Z R T) 2g/(g-1) (1-x^((g-1)/g))) x^(1/g), with M p/(Z R T) the density.
    rest = 2.0 * g / (g - 1.0) * (1.0 - x ** ((g - 1.0) / g)) * GAS.density_kg_per_m3(GROUND_K, p) / p
    published = discharge * math.pi / 4.0 * 0.05**2 * p * math.sqrt(rest) * x ** (1.0 / g)
    compared(
        "gas out of a hole of 50 mm, 20 to 800 mbar",
        _mass_kg_per_s(0.05, gauge_mbar * 100.0, g, discharge),
        published,
        rel=1e-9,
        unit="kg/s",
        source="IEC 60079-10-1:2015, annex B, non-choked release",
        how="from memory",
    )


@pytest.mark.parametrize(
    ("exponent", "coefficient"), [(1.1, 327.0), (1.2, 337.0), (1.3, 347.0), (1.4, 356.0)]
)
def test_at_the_speed_of_sound(exponent: float, coefficient: float) -> None:
    """W = C/520 Cd A sqrt(p1 rho1): C of API 520 is 520 sqrt(k (2/(k+1))^((k+1)/(k-1)))."""
    p = 6e5
    density = GAS.density_kg_per_m3(GROUND_K, p)
    compared(
        "gas out of a hole at 5 bar",
        _mass_kg_per_s(0.025, p - ATMOSPHERE_PA_ABS, exponent, 1.0),
        coefficient / 520.0 * math.pi / 4.0 * 0.025**2 * math.sqrt(p * density),
        rel=2e-3,
        unit="kg/s",
        source="API Standard 520 part I, table of the coefficient C, to three digits",
        how="from memory",
    )


def test_where_it_turns_to_the_speed_of_sound() -> None:
    """The critical ratio of k = 1.3 is 0.5457: beyond 1.8324 of the air's pressure the flow goes with p1."""
    ratio = 0.5457
    edge = ATMOSPHERE_PA_ABS / ratio - ATMOSPHERE_PA_ABS
    flux = [
        _mass_kg_per_s(0.01, pa, 1.3, 0.6) / (pa + ATMOSPHERE_PA_ABS) for pa in (edge * 0.9, edge, edge * 1.5)
    ]
    assert flux[0] < flux[1]
    assert flux[2] == pytest.approx(flux[1], rel=1e-2), "in proportion, Z apart"


def test_at_low_pressure_it_is_that_of_a_liquid() -> None:
    density = GAS.density_kg_per_m3(GROUND_K, ATMOSPHERE_PA_ABS + 2500.0)
    bernoulli = 0.6 * math.pi / 4.0 * 0.01**2 * math.sqrt(2.0 * 2500.0 * density)
    assert _mass_kg_per_s(0.01, 2500.0, 1.3, 0.6) == pytest.approx(bernoulli, rel=0.02)
    assert _mass_kg_per_s(0.01, 2500.0, 1.3, 0.6) < bernoulli


def test_a_range_holds_every_hole_up_to_the_bore_in_cubic_metres_an_hour() -> None:
    found = escape_range("M1", 0.0902, (10.0, 25.0, 50.0, 120.0), 2500.0, GAS, GROUND_K)
    assert [(one.hole_mm, one.full_bore) for one in found.flows] == [
        (10.0, False),
        (25.0, False),
        (50.0, False),
        (90.2, True),
    ]
    mass = _mass_kg_per_s(0.025, 2500.0, 1.3, 0.6)
    assert found.flows[1].least_m3h == pytest.approx(mass / STD * 3600.0, abs=0.05)
    assert found.flows[1].most_m3h == pytest.approx(mass / STD * 6000.0, abs=0.1)
    held = escape_range(
        "M1", 0.0902, (25.0,), 2500.0, GAS, GROUND_K, held_pa={(25.0, 0.6): 900.0}, is_solved=True
    )
    assert held.pressure_of == "solved"
    assert held.flows[0].least_m3h == pytest.approx(
        _mass_kg_per_s(0.025, 900.0, 1.3, 0.6) / STD * 3600.0, abs=0.05
    )
    assert "not for distances" in held.note
