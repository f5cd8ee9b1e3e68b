"""Tables of purging and emissions: every row has a known source, every end point a unit."""

from __future__ import annotations

import csv
from importlib import resources

import numpy as np
import pytest

from netplan.core.sources import sources
from netplan.gas import (
    Equipment,
    PurgeSource,
    ZoneMains,
    end_point_lines,
    let_by_allowance,
    purge_plan,
)
from netplan.hydraulics import FlowConditions
from netplan.reference.gas import gas_from_composition, named_gas
from netplan.reference.purge_figures import end_points, leak_paths, purge_cautions

TABLES = (
    "emissions_gwp.csv",
    "emissions_regulation.csv",
    "purge_end_points.csv",
    "purge_distances.csv",
    "purge_cautions.csv",
    "purge_figures.csv",
    "purge_let_by.csv",
)
EQUIPMENT = Equipment((0.025, 0.05), (0.025, 0.05), 3.0, 6.0, 1e-5)


def _mains() -> ZoneMains:
    return ZoneMains(
        from_node=np.array([0, 1, 1]),
        to_node=np.array([1, 2, 3]),
        length_m=np.array([40.0, 30.0, 20.0]),
        bore_m=np.array([0.1022, 0.1022, 0.0736]),
        roughness_m=np.full(3, 7e-6),
        pipe=np.array([0, 0, 1]),
        from_m=np.array([10.0, 50.0, 0.0]),
        to_m=np.array([50.0, 80.0, 20.0]),
    )


@pytest.mark.parametrize("name", TABLES)
def test_every_row_names_a_known_source(name: str) -> None:
    text = resources.files("netplan.reference").joinpath(name).read_text(encoding="utf-8")
    rows = list(csv.DictReader(text.splitlines()))
    assert rows
    for row in rows:
        assert row["source"] in sources(), row
        assert all(value != "" for value in row.values()), row


def test_every_end_point_says_of_what_its_percentage_is() -> None:
    assert {point.unit for point in end_points()} == {"% LFL", "% volume"}
    for name in ("natural gas", "hydrogen"):
        for line in end_point_lines(named_gas(name)):
            assert "% LFL" in line or "% vol" in line
    out = end_point_lines(named_gas("methane"))[0]
    # 25 % of the lower limit of methane, 4.4 % by volume (IEC 60079-20-1, from memory), is 1.1 % by volume.
    assert out == "out: flammable gas below 25 % LFL (1.1 % volume of this gas)"


def test_hydrogen_is_purged_through_inert_gas_only() -> None:
    gas = gas_from_composition({"methane": 0.8, "hydrogen": 0.2}, "blend")
    source = PurgeSource(0, 0, 10.4, lambda _flow: 2500.0)
    plan = purge_plan(_mains(), [source], EQUIPMENT, FlowConditions(gas), volumes_out=2.0, volumes_in=2.0)
    assert plan.medium == "inert gas only, out and back in"
    assert plan.least_velocity_m_s is None
    assert plan.minutes_in is None
    assert plan.draw_m3_per_s_std is None
    assert "blend: 20% hydrogen" in plan.notes[0]
    assert any("oxygen before gas is let in below 2 % volume" in line for line in plan.end_points)
    assert [place.order for place in plan.places] == [0, 1, 2]


def test_branches_are_listed_the_longest_run_first() -> None:
    source = PurgeSource(0, 0, 10.4, lambda _flow: 2500.0)
    plan = purge_plan(
        _mains(),
        [source],
        EQUIPMENT,
        FlowConditions(named_gas("natural gas")),
        volumes_out=2.0,
        volumes_in=2.0,
    )
    assert [(place.role, place.pipe, place.chainage_m) for place in plan.places] == [
        ("feed", 0, 10.4),
        ("vent", 0, 80.0),
        ("vent", 1, 20.0),
    ]
    assert plan.reached
    assert plan.least_velocity_m_s == pytest.approx(0.6)
    assert any("never purge a main through a service" in note.lower() for note in plan.notes)


def test_too_slow_a_purge_says_what_to_do() -> None:
    source = PurgeSource(0, 0, 10.4, lambda _flow: 150.0)
    small = Equipment((0.025,), (0.025,), 3.0, 6.0, 1e-5)
    plan = purge_plan(
        _mains(), [source], small, FlowConditions(named_gas("natural gas")), volumes_out=2.0, volumes_in=2.0
    )
    assert plan.reached is False
    assert "not reached everywhere" in plan.notes[0]
    assert "nitrogen ahead of the gas" in plan.notes[1]
    assert "of the least velocity" in plan.places[1].note


def test_a_live_network_that_gives_out_is_named_as_what_limits() -> None:
    source = PurgeSource(0, 0, 10.4, lambda flow: 2500.0 if flow < 1e-3 else float("nan"))
    plan = purge_plan(
        _mains(),
        [source],
        EQUIPMENT,
        FlowConditions(named_gas("natural gas")),
        volumes_out=2.0,
        volumes_in=2.0,
    )
    assert plan.reached is False
    assert plan.draw_m3_per_s_std is not None
    assert plan.draw_m3_per_s_std < 1e-3
    assert any("live network cannot give it" in note for note in plan.notes)


def test_the_other_end_is_tried_where_one_cannot() -> None:
    weak = PurgeSource(0, 0, 10.4, lambda flow: 2600.0 if flow < 1e-4 else float("nan"))
    strong = PurgeSource(2, 0, 79.6, lambda _flow: 2500.0)
    plan = purge_plan(
        _mains(),
        [weak, strong],
        EQUIPMENT,
        FlowConditions(named_gas("natural gas")),
        volumes_out=2.0,
        volumes_in=2.0,
    )
    assert plan.reached
    assert plan.places[0].chainage_m == 79.6


def test_let_by_states_its_path() -> None:
    allowance = let_by_allowance(leak_paths()["squeeze"], 0.1022, 2500.0, 283.15, named_gas("natural gas"))
    assert allowance.path == "slit across the flattened pipe: 0.1 mm high, 161 mm wide, 30 mm long"
    assert allowance.across_pa == 2500.0
    assert allowance.flow_m3_per_s_std > 0.0


def test_cautions_carry_their_source_in_words() -> None:
    cautions = purge_cautions()
    assert len(cautions) == 9
    assert all(caution.endswith("]") for caution in cautions)
