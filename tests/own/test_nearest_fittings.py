"""How far a squeeze is from fittings, joints and earlier squeezes on record: a street measured by hand."""

from __future__ import annotations

import pytest

from netplan.network.model import Network
from netplan.planning.option_records.nearest_fittings import nearest_fitting, nearest_mark_m
from tests.support.networks import build, customer, fitting, main, service, station


@pytest.fixture(scope="module")
def street() -> Network:
    return build(
        mains=[main("M1", (0.0, 0.0), (100.0, 0.0))],
        services=[service("S1", (40.0, 0.0), (40.0, 8.0))],
        customers=[customer("C1", (40.0, 8.0), service_id="S1")],
        regulators=[station("R1", (0.0, 0.0))],
        fittings=[
            fitting("F1", (60.0, 0.0), kind="tapping_tee"),
            fitting("F2", (75.0, 0.0), kind="squeeze_mark"),
        ],
    )


@pytest.mark.parametrize(
    ("chainage_m", "distance_m", "words"),
    [
        (58.0, 2.0, "tapping tee F1"),
        (43.0, 3.0, "joint or tee"),
        (97.5, 2.5, "end of the main"),
        (76.0, 16.0, "tapping tee F1"),
    ],
)
def test_the_nearest_is_named(street: Network, chainage_m: float, distance_m: float, words: str) -> None:
    found = nearest_fitting(street, 0, chainage_m)
    assert found[0] == pytest.approx(distance_m, abs=0.02)
    assert found[1] == words


def test_an_earlier_squeeze_is_measured_apart(street: Network) -> None:
    assert nearest_mark_m(street, 0, 70.0) == pytest.approx(5.0, abs=0.02)
