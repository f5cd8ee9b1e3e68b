"""A draw between the nodes of a link gives the pressures of a network with a node at the tapping (own)."""

from __future__ import annotations

import numpy as np
import pytest

from netplan.feeds import Draw, Tap, with_taps
from netplan.hydraulics import FlowConditions, FlowLinks, FlowNetwork, FlowSolver
from netplan.planning.tapped_draw import DrawPlace, LinkDraw, solved_with_draw
from netplan.reference.gas import named_gas

CONDITIONS = FlowConditions(named_gas("natural gas"))
DRAW_M3_PER_S = 46.0 / 3600.0


def _ring() -> FlowNetwork:
    links = FlowLinks(
        from_node=np.array([0, 1, 2, 3, 2]),
        to_node=np.array([1, 2, 3, 0, 4]),
        length_m=np.array([40.0, 25.0, 60.0, 80.0, 15.0]),
        bore_m=np.array([0.0514, 0.0514, 0.0736, 0.0514, 0.0514]),
        roughness_m=np.full(5, 7e-6),
    )
    return FlowNetwork(5, links, np.array([0]), np.array([3000.0]))


@pytest.mark.parametrize("share", [0.0, 0.2, 0.7, 1.0])
@pytest.mark.parametrize("link", range(5))
def test_pressures_are_those_of_a_network_with_a_node_at_the_tapping(link: int, share: float) -> None:
    network = _ring()
    demand = np.array([0.0, 3.0, 6.0, 4.0, 5.0]) / 3600.0
    place = DrawPlace(link, share)
    at_end = Draw(int(network.links.to_node[link]), DRAW_M3_PER_S)
    ours = solved_with_draw(FlowSolver(network, CONDITIONS), demand, at_end, place, CONDITIONS)
    inside = min(max(share, 1e-9), 1.0 - 1e-9)
    tapped, node, _ = with_taps(network, [Tap(link, inside)])
    drawn = np.append(demand, 0.0)
    drawn[node[0]] += DRAW_M3_PER_S
    theirs = FlowSolver(tapped, CONDITIONS).resolve(demand_m3_per_s_std=drawn)
    assert ours.pressure_pa_gauge == pytest.approx(theirs.pressure_pa_gauge[:5], abs=0.01)
    on_link = LinkDraw(network.links, place, DRAW_M3_PER_S, CONDITIONS)
    before = on_link.before(float(ours.flow_kg_per_s[link]))
    assert before == pytest.approx(float(theirs.flow_kg_per_s[link]), abs=1e-6)
    # At the node at the end, as without a place, the pressures are others unless the tapping is there.
    plain = solved_with_draw(FlowSolver(network, CONDITIONS), demand, at_end, None, CONDITIONS)
    differs = np.abs(plain.pressure_pa_gauge - ours.pressure_pa_gauge).max() > 1.0
    assert differs is np.bool_(share < 1.0)


def test_on_a_closed_link_all_is_drawn_at_its_own_node() -> None:
    network, demand = _ring(), np.array([0.0, 3.0, 6.0, 4.0, 0.0]) / 3600.0
    solver, draw = FlowSolver(network, CONDITIONS), Draw(2, DRAW_M3_PER_S)
    ours = solved_with_draw(solver, demand, draw, DrawPlace(4, 0.4), CONDITIONS, closed=(4,))
    plain = solver.resolve(demand_m3_per_s_std=draw.on(demand), closed_links=(4,))
    assert ours.pressure_pa_gauge[:4] == pytest.approx(plain.pressure_pa_gauge[:4], abs=1e-6)
