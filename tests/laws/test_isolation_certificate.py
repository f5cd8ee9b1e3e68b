"""The neighbourhood's answer is the whole network's, main by main.

Every seventh main by default; all of them with NETPLAN_EVERY=1.
"""

from __future__ import annotations

import os
from collections import deque
from pathlib import Path

import pytest

from netplan.core.errors import NoPlanError
from netplan.isolation import CutSearch, IsolationProblem, SegmentGraph, cuts
from netplan.isolation.forced_stops import Forced
from netplan.isolation.segment_graph import segment_graph
from netplan.network.build import build_network
from netplan.network.model import Network
from netplan.network.work_section import WorkPart, work_section
from netplan.readers import read_network
from netplan.rules.read_rules import default_rules
from tests.support import schutterwald

EVERY = int(os.environ.get("NETPLAN_EVERY", "7"))
SAMPLE = Path(__file__).parents[2] / "sample_network"


class Everywhere(CutSearch):
    """A search that explores the whole network before it begins."""

    def _lay_out(self) -> Forced:
        forced = super()._lay_out()
        deque(self.local.outward(), maxlen=0)
        return forced


def value(network: Network, index: SegmentGraph, row: int, *, whole: bool) -> int | None:
    """Return the value of the best cut for a whole main, in a neighbourhood or in all of the network."""
    work = work_section(network, [WorkPart(network.pipes.id[row], 0.0, float(network.pipes.length_m[row]))])
    problem = IsolationProblem(network, work, default_rules(), 9.0, 800.0)
    search = Everywhere(problem, index) if whole else cuts(problem, index)
    try:
        return next(search).bound_minor
    except NoPlanError:
        return None


def agreeing(network: Network) -> tuple[int, int]:
    """Return how many mains agree, and how many of them can be isolated."""
    index = segment_graph(network)
    equal = isolated = 0
    for row in range(0, network.pipes.n_mains, EVERY):
        near, all_of_it = (value(network, index, row, whole=whole) for whole in (False, True))
        assert near == all_of_it, network.pipes.id[row]
        equal += 1
        isolated += near is not None
    return equal, isolated


def test_every_main_of_schutterwald() -> None:
    equal, isolated = agreeing(build_network(schutterwald.layers()))
    assert equal == -(-schutterwald.MAINS // EVERY)
    assert equal - isolated <= 2  # the mains at the station's outlet


@pytest.mark.skipif(not list(SAMPLE.glob("*.gpkg")), reason="the sample network is not built here")
def test_every_main_of_the_sample() -> None:
    network = read_network(sorted(SAMPLE.glob("*.gpkg"))[0])
    equal, isolated = agreeing(network)
    assert equal == -(-network.pipes.n_mains // EVERY)
    assert isolated > 0.5 * equal
