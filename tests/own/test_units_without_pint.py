"""Units that every plan needs are written down beside pint: they are what pint gives, and pint stays away."""

from __future__ import annotations

import subprocess
import sys

import pytest
from hypothesis import given
from hypothesis import strategies as st

from netplan.core import units

_SCALES = ("K", "degC", "degF")


@pytest.mark.parametrize("pair", sorted(units._FACTORS))
def test_a_written_factor_is_that_of_pint(pair: tuple[str, str]) -> None:
    unit_from, unit_to = pair
    given_by_pint = units.registry().Quantity(1.0, unit_from).to(unit_to).magnitude
    assert units.factor(unit_from, unit_to) == pytest.approx(given_by_pint, rel=1e-15, abs=0.0)


@given(st.floats(-100.0, 1000.0), st.sampled_from(_SCALES), st.sampled_from(_SCALES))
def test_temperatures_are_those_of_pint(value: float, scale: str, other: str) -> None:
    given_by_pint = units.registry().Quantity(value, scale).to(other).magnitude
    assert units.convert(value, scale, other) == pytest.approx(given_by_pint, rel=1e-14, abs=1e-12)


@given(
    st.floats(-1e6, 1e6),
    st.sampled_from(
        [
            ("mbar", "inH2O_trade"),
            ("m**3/hour", "foot**3/hour"),
            ("kg", "pound"),
            ("mm", "inch"),
            ("K", "degR"),
        ]
    ),
)
def test_other_units_are_those_of_pint(value: float, pair: tuple[str, str]) -> None:
    given_by_pint = units.registry().Quantity(value, pair[0]).to(pair[1]).magnitude
    assert units.convert(value, *pair) == pytest.approx(given_by_pint, rel=1e-14, abs=0.0)


def test_rules_and_gas_load_without_pint() -> None:
    code = (
        "import sys, netplan.rules, netplan.reference.gas, netplan.gas;"
        "netplan.rules.read_rules(None);"
        "sys.exit('pint' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0  # noqa: S603
