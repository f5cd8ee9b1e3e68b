"""What US users type: inches in fractions, stations of 100 ft, the units that the papers show."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from netplan.cli.app import main
from netplan.cli.sample import sample_network
from netplan.core.errors import BadInputError
from netplan.core.units import chainage_m, is_bare, quantity
from netplan.outputs.number_format import US
from netplan.planning.given_orders import orders_given, work_given


@pytest.mark.parametrize(
    ("text", "inches"),
    [
        ("1-1/2 in", 1.5),
        ("1 1/2 in", 1.5),
        ("3/4 in", 0.75),
        ('2-1/2"', 2.5),
        ("1/2 inch", 0.5),
        ("-1/4 in", -0.25),
    ],
)
def test_inches_are_read_as_sizes_are_named(text: str, inches: float) -> None:
    assert quantity(text, "mm", "--bores") == pytest.approx(25.4 * inches, rel=1e-12)
    assert not is_bare(text)


@pytest.mark.parametrize("text", ["1-1/2", "3/4", "1/0 in", "1-1/2/3 in", "1--1/2 in", "1/2 1/2 in"])
def test_a_fraction_without_a_unit_or_that_is_none_is_refused(text: str) -> None:
    with pytest.raises(BadInputError, match="--bores"):
        quantity(text, "mm", "--bores")


@pytest.mark.parametrize(
    ("text", "feet"),
    [("5+18.4", 518.4), ("0+03", 3.0), ("12+00 ft", 1200.0), ("5+18.4'", 518.4), ("518.4 ft", 518.4)],
)
def test_a_station_is_of_a_hundred_feet(text: str, feet: float) -> None:
    assert chainage_m(text, "--from") == pytest.approx(0.3048 * feet, rel=1e-12)


@pytest.mark.parametrize("text", ["0+158", "5+8", "1+2345", "5+18.4 m", "5+18.4.1", "+5+18"])
def test_other_stations_are_refused(text: str) -> None:
    with pytest.raises(BadInputError, match="--from"):
        chainage_m(text, "--from")


def test_stations_are_taken_wherever_a_chainage_is() -> None:
    work = work_given(
        main="M0142",
        from_m="5+18.4",
        to_m="5+31.5",
        and_main=["M0147:0+05:12 ft"],
        area=None,
        at=None,
        length=None,
    )
    at = [(part.main_id, round(part.from_m / 0.3048, 6), round(part.to_m / 0.3048, 6)) for part in work.parts]
    assert at == [("M0142", 518.4, 531.5), ("M0147", 5.0, 12.0)]
    orders = orders_given(
        force=["M0147:5+18.4"],
        forbid=["M0142:1+00:2+50", "M0142:80"],
        keep_out=None,
        max_stops=None,
        keep_on=[],
    )
    assert orders.force[0].chainage_m == pytest.approx(518.4 * 0.3048)
    assert (orders.forbid[0].chainage_m, orders.forbid[0].to_m) == pytest.approx((30.48, 76.2))
    assert orders.forbid[1].chainage_m == 80.0


READ_BACK = (
    ("pressure", "mbar", 27.5),
    ("high_pressure", "mbar", 4000.0),
    ("flow", "m**3/hour", 21.6),
    ("length", "m", 12.3),
    ("size", "mm", 51.0),
    ("volume", "m**3", 0.83),
    ("temperature", "degC", -10.0),
    ("speed", "m/s", 5.1),
    ("mass", "kg", 1.04),
)


@pytest.mark.parametrize(("what", "unit", "value"), READ_BACK)
def test_what_is_shown_is_read_back(what: str, unit: str, value: float) -> None:
    shown = US.text(what, value)
    assert quantity(shown.replace("−", "-"), unit, "value") == pytest.approx(value, rel=0.01, abs=0.06)
    assert quantity(US.bore(51.0), "mm", "--bores") == 50.8
    assert quantity("14F", "degC", "--air-temp") == pytest.approx(-10.0)


def test_a_refused_value_is_said_in_the_units_shown(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    def said(*more: str) -> str:
        work = ("--main", "M0142", "--from", "30+00", "--to", "30+10")
        out = ("--out", str(tmp_path / "plan"))
        monkeypatch.setattr(sys, "argv", ["gas-netplan", "plan", str(sample_network()), *work, *out, *more])
        with pytest.raises(SystemExit) as left:
            main()
        assert left.value.code == 2
        return capsys.readouterr().err

    assert "is beyond its end at 802.69 ft" in said("--units", "us")
    assert "is beyond its end at 244.66 m" in said()
