"""What a gas may be made of, and what is refused."""

from __future__ import annotations

import re
from importlib import resources

import pytest

from netplan.core.errors import BadInputError, OutsideValidityError
from netplan.core.sources import sources
from netplan.reference.gas import METRIC_NORMAL, METRIC_STANDARD, US_STANDARD, gas_from_composition, named_gas
from netplan.reference.gas_components import components


def test_every_row_names_known_sources() -> None:
    table = components()
    assert len(table) == 15
    for part in table.values():
        assert part.sources
        assert set(part.sources) <= set(sources())


def test_order_and_scale_of_the_composition_do_not_matter() -> None:
    one = gas_from_composition({"methane": 0.9, "ethane": 0.1}, "a")
    other = gas_from_composition({"ethane": 0.10001, "methane": 0.90009}, "a")
    assert [key for key, _ in one.composition] == ["methane", "ethane"] == [k for k, _ in other.composition]
    assert one.molar_mass_kg_per_mol == pytest.approx(other.molar_mass_kg_per_mol, rel=1e-9)


@pytest.mark.parametrize(
    ("fractions", "words"),
    [
        ({"methane": 0.9, "xenon": 0.1}, "'xenon' is not known"),
        ({"methane": 0.9}, "sum to 0.9"),
        ({"methane": 1.1, "ethane": -0.1}, "ethane is -0.1"),
        ({"methane": float("nan")}, "nan"),
        ({}, "sum to 0"),
    ],
)
def test_bad_compositions_are_refused(fractions: dict[str, float], words: str) -> None:
    with pytest.raises(BadInputError, match=words):
        gas_from_composition(fractions)


def test_unknown_name_lists_the_known_ones() -> None:
    with pytest.raises(BadInputError, match="natural gas, methane, hydrogen, propane"):
        named_gas("town gas")


def test_outside_the_range_is_refused() -> None:
    gas = named_gas("natural gas")
    with pytest.raises(OutsideValidityError, match="outside -30 to 50"):
        gas.compressibility(200.0, 101_325.0)
    with pytest.raises(OutsideValidityError, match="outside 0 to 12 bar"):
        gas.density_kg_per_m3(288.15, 5e6)


def test_reference_conditions_carry_their_name() -> None:
    assert METRIC_STANDARD.name == "15 °C, 101.325 kPa"
    assert METRIC_NORMAL.name == "0 °C, 101.325 kPa"
    assert US_STANDARD.name == "60 °F, 14.73 psia"
    assert US_STANDARD.temperature_k == pytest.approx(288.7056, abs=1e-4)
    assert US_STANDARD.pressure_pa_abs == pytest.approx(101_559.8, abs=0.2)


def test_every_source_named_in_the_code_is_on_the_list() -> None:
    named = set()
    for package in ("hydraulics", "reference"):
        for path in sorted((resources.files("netplan") / package).iterdir(), key=lambda p: p.name):
            if path.name.endswith(".py"):
                named |= set(re.findall(r"source: ([a-z0-9_]+)\)", path.read_text(encoding="utf-8")))
    assert {"colebrook", "moody", "iso_6976", "wilke"} <= named
    assert named <= set(sources())
