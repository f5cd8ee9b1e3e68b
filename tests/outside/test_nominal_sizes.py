"""Nominal sizes against the library fluids, and against published figures that stand beside each check."""

from __future__ import annotations

from typing import Any

import pytest
from fluids.piping import schedule_lookup

from netplan.reference.pipe_sizes import nominal_size, wall_mm
from netplan.reference.size_text import WrittenSize, read_size
from tests.compared import compared
from tests.support.schutterwald import stored

INCHES = (
    0.5,
    0.75,
    1.0,
    1.25,
    1.5,
    2.0,
    2.5,
    3.0,
    4.0,
    5.0,
    6.0,
    8.0,
    10.0,
    12.0,
    14.0,
    16.0,
    18.0,
    20.0,
    24.0,
)


@pytest.mark.parametrize("size", INCHES)
def test_steel_by_inches_is_that_of_the_library(size: float) -> None:
    nps, _, outside, wall = schedule_lookup["40"]
    at = list(nps).index(size)
    held = nominal_size("inch", size, "steel")
    assert held is not None
    compared(
        "outside diameter and wall of steel by inches",
        [held.od_mm, held.schedule_40_mm],
        [outside[at], wall[at]],
        unit="mm",
        source="fluids 1.3, ASME B36.10M schedule 40",
        how="library",
    )
    assert held.bore_mm == pytest.approx(size * 25.4)


@pytest.mark.parametrize(
    ("dn", "size"),
    [(15, 0.5), (25, 1.0), (50, 2.0), (80, 3.0), (100, 4.0), (150, 6.0), (200, 8.0), (250, 10.0)],
)
def test_steel_by_dn_agrees_with_the_inch_sizes(dn: float, size: float) -> None:
    # ISO 4200 series 1 and ASME B36.10M share these outside diameters, to their rounding.
    metric, inch = nominal_size("dn", dn, "steel"), nominal_size("inch", size, "steel")
    assert metric is not None
    assert inch is not None
    assert metric.od_mm == pytest.approx(inch.od_mm, abs=0.4)


@pytest.mark.parametrize(
    ("text", "stuff", "expected"),
    [
        # EN 545:2010, table of external diameters: DN 80 is 98 mm, DN 150 is 170 mm, DN 300 is 326 mm.
        ("DN 80", "iron", {"od_mm": 98.0, "bore_mm": 80.0}),
        ("DN150", "iron", {"od_mm": 170.0, "bore_mm": 150.0}),
        ("GGG DN 300", "", {"od_mm": 326.0, "bore_mm": 300.0}),
        # 49 CFR 192.125 (2002): standard size 1/2 in has 0.625 in, 1 in has 1.125 in outside.
        ("1/2 in CTS SDR 7", "pe", {"od_mm": 15.875, "sdr": 7.0}),
        ('1" CTS SDR 11', "", {"od_mm": 28.575, "sdr": 11.0}),
        # Public dimension chart to ASTM D3035: 2 in is 2.375 in, 1-1/4 in is 1.660 in outside.
        ('2" IPS DR 11.5', "", {"od_mm": 60.325, "sdr": 11.5}),
        ("1-1/4 in IPS SDR 11", "", {"od_mm": 42.164, "sdr": 11.0}),
        ("1¼″ IPS SDR 11", "", {"od_mm": 42.164, "sdr": 11.0}),
        # From memory of ASTM D2513: 8 in is 8.625 in outside.
        ("8 in IPS SDR 11", "", {"od_mm": 219.075, "sdr": 11.0}),
        # From memory of EN 10220: DN 150 of steel is 168.3 mm outside.
        ("DN 150", "steel", {"od_mm": 168.3, "bore_mm": 150.0}),
        ('Steel 4" SCH 40', "", {"od_mm": 114.3, "wall_mm": 6.02}),
        # ISO 4437, EN 1555: the DN of PE is its outside diameter; S 8 is SDR 17, S 5 is SDR 11 (SDR = 2 S + 1).
        ("DN 160 SDR 17", "pe", {"od_mm": 160.0, "sdr": 17.0}),
        ("DN/OD 225 S 8", "", {"od_mm": 225.0, "sdr": 17.0}),
        ("d180", "", {"od_mm": 180.0}),
        ("63 PE 80", "", {"od_mm": 63.0}),
        ("180x16,4", "", {"od_mm": 180.0, "wall_mm": 16.4}),
        ("Ø 110 SDR17,6", "", {"od_mm": 110.0, "sdr": 17.6}),
        ("PE100 SDR17 d125", "", {"od_mm": 125.0, "sdr": 17.0}),
        ("PE-HD 90 mm", "", {"od_mm": 90.0}),
        ("OD 4.5 in SDR 11", "", {"od_mm": 114.3, "sdr": 11.0}),
        ('8.625" x 0.784"', "", {"od_mm": 219.075, "wall_mm": 19.9136}),
        ("168,3 x 4,5", "steel", {"od_mm": 168.3, "wall_mm": 4.5}),
    ],
)
def test_sizes_as_people_write_them(text: str, stuff: Any, expected: dict[str, float]) -> None:
    size = read_size(text, stuff)
    figures = {name: getattr(size, name) for name in ("od_mm", "sdr", "wall_mm", "bore_mm")}
    assert {name: value for name, value in figures.items() if value is not None} == pytest.approx(expected)


@pytest.mark.parametrize(
    ("text", "stuff", "why"),
    [
        ("", "", "names no size"),
        ("DN 150", "", "no known material"),
        ("DN 150", "pe", "do not hold for pe"),
        ('4" CTS', "", "do not hold for this pipe"),
        ("180", "", "without DN, d, mm or inches"),
        ("180", "steel", "without DN, d, mm or inches"),
        ("8", "pe", "without DN, d, mm or inches"),
        ("20", "pe", "without DN, d, mm or inches"),
        ("d180 d200", "", "two sizes"),
        ("SDR 11 SDR 17", "", "two ratios"),
        ("PE steel d90", "", "two materials"),
        ("SDR", "", "without its number"),
        ("d90 wide", "", "'wide', which is not known"),
        ("d90 S 7", "", "pipe series 7"),
        ("DN 100 SCH 40", "iron", "no wall is known"),
        ('4" SCH 80', "steel", "other than 40"),
        ("d 5", "", "no size that a pipe can have"),
        ("x" * 81, "", "too long"),
    ],
)
def test_what_is_not_certain_is_refused(text: str, stuff: Any, why: str) -> None:
    with pytest.raises(ValueError, match=why):
        read_size(text, stuff)


@pytest.mark.parametrize(("plain", "od_mm"), [("od_mm", 180.0), ("dn", 180.0), ("inch", None)])
def test_a_bare_number_means_what_the_mapping_says(plain: Any, od_mm: float | None) -> None:
    if od_mm is None:
        assert read_size("8", "pe", plain) == WrittenSize(219.075, source_key="pe_walls_ips_memory")
    else:
        assert read_size("180", "pe", plain).od_mm == od_mm


def test_sizes_of_a_real_town_give_its_recorded_bores() -> None:
    # Kisse et al., Energies 13, 4052 (2020), supplementary data: texts such as 125 PE 100 SDR 11, and bores.
    pipes = stored().pipe
    (column,) = [name for name in pipes.columns if name.endswith("_std_type")]
    kinds = pipes[[column, "inner_diameter_mm"]].dropna().drop_duplicates()
    assert len(kinds) == 3
    for text, bore_mm in kinds.itertuples(index=False):
        size = read_size(text)
        assert size.material == "PE100"
        assert size.sdr is not None
        compared(
            "bores of a real town from its texts",
            size.od_mm - 2 * wall_mm(size.od_mm, size.sdr).wall_mm,
            bore_mm,
            rel=1e-6,
            unit="mm",
            source="Kisse et al., Energies 13, 4052 (2020), data",
            how="published",
        )
