"""The bound on feeds of tails never lies above a real feed, and often is its price."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from netplan.core.errors import NoPlanError
from netplan.feeds.feed_price_bound import FeedPriceBound
from netplan.isolation import Cut, IsolationProblem, PendantComponent, cuts
from netplan.network.work_section import WorkPart, work_section
from netplan.planning.context import PlanningContext
from netplan.planning.evaluate import price_cut
from netplan.planning.evaluated_option import EvaluatedOption, RefusedCut
from netplan.planning.excavations_of_cut import work_minor_of
from netplan.planning.rank import isolation_problem
from netplan.rules import read_rules
from tests.support.feed_towns import town_request
from tests.support.networks import build, customer, main, node_at, service, station, valve


def test_no_priced_cut_is_cheaper_than_its_bound_and_none_is_missed() -> None:
    priced, fed, met = 0, 0, 0
    for seed in range(300, 325):
        request = town_request(seed)
        context = PlanningContext.for_request(request)
        section = work_section(request.network, request.parts)
        # The same whatever the stops, and so no part of any bound.
        work_minor = work_minor_of(context)
        loose = isolation_problem(context, section)
        loose = replace(loose, feed_bound=lambda _: 15000)
        sharp = replace(loose, feed_bound=FeedPriceBound(request.network, section, request.rules))
        best: list[int] = []
        for problem in (loose, sharp):
            answers, least = [], 2**60
            for cut in itertools.islice(_cuts_of(problem, context), 40):
                if cut.bound_minor + work_minor >= least:
                    break
                answers.append((cut, price_cut(context, cut)))
                if not isinstance(answers[-1][1], RefusedCut):
                    least = min(least, _cheapest(answers[-1][1]).burden_minor)
            held = [(cut, _cheapest(some)) for cut, some in answers if not isinstance(some, RefusedCut)]
            for cut, answer in held:
                assert cut.bound_minor + work_minor <= answer.burden_minor, seed
            if problem is sharp:
                priced += len(held)
                fed += sum(answer.feeds_minor > 0 for _, answer in held)
                met += sum(cut.bound_minor + work_minor == answer.burden_minor for cut, answer in held)
            best.append(min((answer.burden_minor for _, answer in held), default=2**60))
        assert best[1] == best[0], seed
    assert priced >= 25
    assert fed >= 10
    # The bound is not only safe but sharp: it often is the price.
    assert met >= 5


def _cheapest(options: tuple[EvaluatedOption, ...]) -> EvaluatedOption:
    return min(options, key=lambda option: option.burden_minor)


def _cuts_of(problem: IsolationProblem, context: PlanningContext) -> Iterator[Cut]:
    try:
        yield from cuts(problem, context.index)
    except NoPlanError:
        return


def test_behind_the_work_the_bound_is_the_bypass_across_it() -> None:
    # One main of 300 m with the work at 100 to 140 m, customers on both sides of it.
    rules = read_rules()
    network = build(
        mains=[main("M1", (0, 0), (300, 0))],
        services=[service("S1", (50, 0), (50, 8)), service("S2", (280, 0), (280, 8))],
        customers=[customer("C1", (50, 8), service_id="S1"), customer("C2", (280, 8), service_id="S2")],
        regulators=[station("R1", (0, 0))],
    )
    bound = FeedPriceBound(network, work_section(network, [WorkPart("M1", 100.0, 140.0)]), rules)
    pieces = network.pieces
    near, far = node_at(network, (50, 0)), node_at(network, (280, 0))
    piece = int(np.flatnonzero((pieces.from_node == near) & (pieces.to_node == far))[0])
    tail = PendantComponent(piece, near, far, 1000, False, lambda: np.zeros(0, np.int32))
    # Tees lie 0.5 + 0.4 + 2.3 m beyond both ends of the work: 46.4 m apart.
    assert bound(tail) == round(100 * (900 + 15 * 1.15 * 46.4))


def test_a_closed_valve_at_the_tail_or_a_main_close_by_lowers_the_bound() -> None:
    rules = read_rules()

    def bound_with(**more: list[dict[str, object]]) -> int | None:
        network = build(
            mains=[main("M1", (0, 0), (300, 0)), *more.get("mains", [])],
            services=[service("S1", (50, 0), (50, 8)), service("S2", (280, 0), (280, 8))],
            customers=[customer("C1", (50, 8), service_id="S1"), customer("C2", (280, 8), service_id="S2")],
            regulators=[station("R1", (0, 0)), station("R2", (0, 30))],
            valves=more.get("valves", []),
        )
        bound = FeedPriceBound(network, work_section(network, [WorkPart("M1", 100.0, 140.0)]), rules)
        pieces = network.pieces
        near, far = node_at(network, (50, 0)), node_at(network, (280, 0))
        piece = int(np.flatnonzero((pieces.from_node == near) & (pieces.to_node == far))[0])
        return bound(PendantComponent(piece, near, far, 1000, False, lambda: np.zeros(0, np.int32)))

    alongside = main("M2", (0, 30), (299, 30))
    # A main of another station 30 m away: a bypass cannot be had for less than 30 m straight.
    assert bound_with(mains=[alongside]) == round(100 * (900 + 15 * 1.15 * 30.0))
    joined = [alongside, main("M3", (299, 30), (300, 0))]
    closed = [valve("V1", (299.5, 15), state="closed")]
    assert bound_with(mains=joined, valves=closed) == 15000
