"""Walls and bores of PE pipe against published figures."""

from __future__ import annotations

import csv
from importlib import resources

import pytest

from netplan.core.sources import sources
from netplan.reference.pipe_sizes import (
    inch_od_mm,
    least_wall_bore_mm,
    wall_by_rule_mm,
    wall_mm,
)
from tests.compared import compared

INCH = 25.4

# MS 1058: Part 2: 2005, table of wall thickness (the ISO 4065 series): dn, then SDR 11, 13.6 and 17 [mm].
MS_1058 = [
    (90, 8.2, 6.7, 5.4),
    (110, 10.0, 8.1, 6.6),
    (125, 11.4, 9.2, 7.4),
    (140, 12.7, 10.3, 8.3),
    (160, 14.6, 11.8, 9.5),
    (180, 16.4, 13.3, 10.7),
    (200, 18.2, 14.7, 11.9),
    (225, 20.5, 16.6, 13.4),
    (250, 22.7, 18.4, 14.8),
    (280, 25.4, 20.6, 16.6),
    (315, 28.6, 23.2, 18.7),
    (355, 32.2, 26.1, 21.1),
    (400, 36.3, 29.4, 23.7),
]

# International Fuel Gas Code 2018, tables 402.4(20) to (22): OD and inside diameter at SDR 11 [in].
IFGC_2018 = [(1.050, 0.860), (1.900, 1.554), (2.375, 1.943), (3.500, 2.864), (4.500, 3.682)]


@pytest.mark.parametrize(("dn", "sdr_11", "sdr_13_6", "sdr_17"), MS_1058)
def test_metric_walls_are_the_published_ones(
    dn: float, sdr_11: float, sdr_13_6: float, sdr_17: float
) -> None:
    walls = [wall_mm(dn, sdr) for sdr in (11, 13.6, 17)]
    compared(
        "wall of metric PE, SDR 11, 13.6, 17",
        [wall.wall_mm for wall in walls],
        [sdr_11, sdr_13_6, sdr_17],
        unit="mm",
        source="MS 1058: Part 2: 2005, table of wall thickness (ISO 4065 series)",
        how="published",
    )
    assert {wall.source_key for wall in walls} == {"pe_walls_metric"}
    assert not any(wall.computed for wall in walls)


@pytest.mark.parametrize(("od_in", "inside_in"), IFGC_2018)
def test_inch_bores_are_those_of_the_fuel_gas_code(od_in: float, inside_in: float) -> None:
    wall = wall_mm(od_in * INCH, 11)
    compared(
        "bore of inch PE, SDR 11",
        least_wall_bore_mm(od_in * INCH, wall.wall_mm) / INCH,
        inside_in,
        abs=1e-3,
        unit="in",
        source="2018 International Fuel Gas Code, tables 402.4(20) to (22)",
        how="published",
    )


def test_one_inch_sdr_11_differs_from_the_code_by_its_own_rounding() -> None:
    # The same tables list 1.077 in where OD - 2 t is 1.075 in.
    wall = wall_mm(1.315 * INCH, 11)
    compared(
        "bore of 1 in SDR 11",
        least_wall_bore_mm(1.315 * INCH, wall.wall_mm) / INCH,
        1.077,
        abs=3e-3,
        unit="in",
        source="2018 International Fuel Gas Code",
        how="published",
    )


def test_bores_in_the_open_town_data_set() -> None:
    # Kisse et al., Energies 13, 4052 (2020), supplementary data: 125 SDR 11, 125 SDR 17, 180 SDR 11.
    bores = [
        least_wall_bore_mm(od, wall_mm(od, sdr).wall_mm) for od, sdr in ((125, 11), (125, 17), (180, 11))
    ]
    compared(
        "bores of 125 and 180 mm",
        bores,
        [102.2, 110.2, 147.2],
        abs=1e-9,
        unit="mm",
        source="Kisse et al., Energies 13, 4052 (2020), data",
        how="published",
    )


def test_the_bore_is_that_at_the_least_wall_and_not_the_average_one_of_charts() -> None:
    # Public dimension table, 63 mm SDR 33: average bore 63 - 2.12 x 1.91 = 58.95 mm; ours is 59.18 mm.
    compared(
        "bore of 63 mm SDR 33 less that of charts",
        least_wall_bore_mm(63, 1.91) - 58.95,
        0.12 * 1.91,
        abs=0.005,
        unit="mm",
        source="public dimension table",
        how="published",
    )
    # The same table, 4.5 in SDR 11: average bore 3.633 in, so that the area is 2.7 % apart.
    wall = wall_mm(4.5 * INCH, 11).wall_mm
    area = (least_wall_bore_mm(4.5 * INCH, wall) / INCH / 3.633) ** 2
    assert area == pytest.approx(1.027, abs=1e-3)


def test_od_over_sdr_would_be_wrong_for_metric_sizes() -> None:
    wrong = [dn for dn, *_ in MS_1058 if abs(dn / 11 - wall_mm(dn, 11).wall_mm) > 0.02]
    assert len(wrong) >= 9


def test_the_rule_agrees_with_the_metric_table_within_a_tenth() -> None:
    rows = _rows("pipes_metric.csv")
    gaps = [
        abs(wall_by_rule_mm(float(row["dn_mm"]), float(row["sdr"])) - float(row["wall_mm"]))
        for row in rows
        if float(row["dn_mm"]) > 32
    ]
    assert max(gaps) <= 0.1 + 1e-9
    assert sum(gap > 1e-9 for gap in gaps) <= 2


def test_the_rule_gives_every_inch_wall_exactly() -> None:
    rows = list(_rows("pipes_ips.csv"))
    assert len(rows) >= 29
    for row in rows:
        assert float(row["wall_in"]) == pytest.approx(
            wall_by_rule_mm(float(row["od_in"]) * INCH, float(row["sdr"])) / INCH, abs=5e-4
        )


def test_table_guards() -> None:
    metric, inch = _rows("pipes_metric.csv"), _rows("pipes_ips.csv")
    assert (len(metric), len(inch)) == (92, 29)
    assert sum(float(row["wall_mm"]) for row in metric) == pytest.approx(1094.5, abs=0.05)
    assert sum(float(row["wall_in"]) for row in inch) == pytest.approx(11.971, abs=5e-4)
    assert {row["source"] for row in (*metric, *inch)} <= set(sources())
    assert len(inch_od_mm()) == 11


def test_sizes_outside_the_tables_are_computed_and_say_so() -> None:
    wall = wall_mm(450, 17)
    assert wall.computed
    assert wall.source_key == "pe_walls_rule"
    assert wall.wall_mm == pytest.approx(26.7)


@pytest.mark.parametrize(("od", "sdr"), [(0.0, 11.0), (-63.0, 11.0), (63.0, 2.0), (float("nan"), 11.0)])
def test_impossible_sizes_are_refused(od: float, sdr: float) -> None:
    with pytest.raises(ValueError, match="no pipe has"):
        wall_mm(od, sdr)


def _rows(name: str) -> list[dict[str, str]]:
    text = resources.files("netplan.reference").joinpath(name).read_text(encoding="utf-8")
    return list(csv.DictReader(text.splitlines()))
