"""Options named by what differs, and orders that contradict each other named in one line."""

from __future__ import annotations

from typing import Any

import pytest

from netplan.cli.sample import sample_network
from netplan.core.errors import NoPlanError
from netplan.network.work_section import work_section
from netplan.outputs.option_differences import differences_in_words, with_differences
from netplan.page.order_conflicts import conflicts_in_every_zone, conflicts_of, no_plan_in_words
from netplan.page.page_orders import PageOrders, PageWork, request_of
from netplan.planning.blocking_orders import Lifted, LiftedKind
from netplan.planning.context import PlanningContext
from netplan.planning.rank import isolation_problem, rank
from netplan.readers import read_network
from netplan.rules import default_rules


def _stop(ident: str, main: str, at: float, kind: str = "bag", valve: str = "") -> dict[str, Any]:
    place = {"x": at, "y": float(len(main)), "main_id": main, "chainage_m": at, "valve_id": valve}
    return {"id": ident, "kind": kind, "method": f"{kind} of the rules", **place}


def _option(*stops: dict[str, Any], feeds: tuple[Any, ...] = (), meters: int = 3, off: str = "C1") -> Any:
    notices = {"meters_off": {"value": meters, "label": "solved"}}
    return {"stops": list(stops), "feeds": list(feeds), "notices": notices, "off": [[0.0, 0.0, off, "at"]]}


def _hose(bore: float, parallel: int = 1, kind: str = "bypass") -> dict[str, Any]:
    return {"id": "B1", "kind": kind, "bore_mm": bore, "parallel": parallel}


S1, S2 = _stop("S1", "M1", 10.0), _stop("S2", "M0048", 80.0)
OPENED = {"id": "V7", "kind": "opened valve"}


@pytest.mark.parametrize(
    ("one", "other", "words"),
    [
        (_option(S1, S2), _option(S1, S2), "same stops, feeds and customers off"),
        (_option(S1, S2, off="C2"), _option(S1, S2), "other customers off"),
        (_option(S1, S2, meters=6), _option(S1, S2), "+3 meters off"),
        (_option(S1, S2, meters=2), _option(S1, S2), "-1 meter off"),
        (
            _option(S1, _stop("S2", "M0048", 80.0, "squeeze")),
            _option(S1, S2),
            "S2 squeezed instead of bagged",
        ),
        (
            _option(S1, S2),
            _option(S1, _stop("S2", "M0048", 80.0, "squeeze")),
            "S2 bagged instead of squeezed",
        ),
        (
            _option(S1, _stop("S2", "M0048", 90.0)),
            _option(S1, S2),
            "S2 on M0048 at 90.0 m instead of 80.0 m",
        ),
        (
            _option(S1, _stop("S2", "M0048", 90.0, "squeeze")),
            _option(S1, S2),
            "S2 squeezed instead of bagged, on M0048 at 90.0 m instead of 80.0 m",
        ),
        (
            _option(S1, _stop("S2", "M0048", 82.0, "valve", "V12")),
            _option(S1, S2),
            "valve V12 instead of a stop on M0048",
        ),
        (
            _option(S1, S2),
            _option(S1, _stop("S2", "M0049", 82.0, "valve", "V12")),
            "a stop on M0048 instead of valve V12",
        ),
        (_option(S1, _stop("S2", "M7", 79.0)), _option(S1, S2), "a stop on M7 instead of a stop on M0048"),
        (_option(S1, S2, _stop("S3", "M9", 5.0)), _option(S1, S2), "a stop on M9 more"),
        (_option(S1), _option(S1, S2), "without a stop on M0048"),
        (_option(S1, feeds=(_hose(63),)), _option(S1, feeds=(_hose(90),)), "bypass 63 mm instead of 90 mm"),
        (
            _option(S1, feeds=(_hose(63, 2),)),
            _option(S1, feeds=(_hose(63),)),
            "bypass 2 × 63 mm instead of 63 mm",
        ),
        (_option(S1, feeds=(_hose(63),)), _option(S1), "a bypass of 63 mm more"),
        (_option(S1), _option(S1, feeds=(_hose(38, kind="hose"),)), "without the hose of 38 mm"),
        (_option(S1, feeds=(OPENED,)), _option(S1), "valve V7 opened"),
        (_option(S1), _option(S1, feeds=(OPENED,)), "valve V7 stays shut"),
    ],
)
def test_an_option_is_named_by_what_differs(one: Any, other: Any, words: str) -> None:
    assert differences_in_words(one, other) == words


def test_the_first_option_is_the_cheapest_and_long_lists_are_counted() -> None:
    others = [_stop(f"S{at}", f"M{at}", 10.0 * at) for at in range(2, 9)]
    first, second = with_differences([_option(S1), _option(S1, *others)])
    assert first["words"] == "cheapest"
    assert second["words"].count(" more") == 5
    assert second["words"].endswith("and 3 more")
    assert with_differences([_option(S1)])[0]["words"] == "cheapest so far"
    assert with_differences([]) == []


@pytest.fixture(scope="module")
def network() -> Any:
    return read_network(sample_network())


WORK = (PageWork(main_id="M0142", from_m=158.0, to_m=162.0),)


def _square(network: Any, main: str, at_m: float) -> Any:
    import numpy as np

    from netplan.network.linear_reference import lon_lat, points_at

    row = network.pipes.id.find(main, 0, network.pipes.n_mains)
    x, y = points_at(network, np.array([row]), np.array([at_m]))[0]
    corners = np.array([[x - 3, y - 3], [x + 3, y - 3], [x + 3, y + 3], [x - 3, y + 3]])
    return tuple(map(tuple, lon_lat(network, corners).tolist()))


def test_contradictions_are_named_and_no_zone_keeps_them(network: Any) -> None:
    rules = default_rules()
    for orders, words in (
        ({"force": ("V011",), "forbid": ("V011",)}, "“a stop at valve V011” against “no stop at valve V011”"),
        (
            {"force": ("M0142:100",), "forbid": ("M0142:90:110",)},
            "“a stop at M0142 100.00 m” against “no stop at M0142 90.00 to 110.00 m”",
        ),
        (
            {"force": ("M0142:100",), "keep_out": (_square(network, "M0142", 100.0),)},
            "“a stop at M0142 100.00 m” lies in keep-out area 1",
        ),
        ({"force": ("M0142:160",)}, "“a stop at M0142 160.00 m” lies in the work section M0142 158 to 162 m"),
        ({"force": ("M0142:100", "V011"), "max_stops": 1}, "“at most 1 stops” against 2 stops ordered"),
    ):
        request = request_of(
            PageOrders.model_validate({"work": WORK, **orders}), network, rules, options=1, weather=False
        )
        (line,) = conflicts_of(request)
        assert line.startswith(words)
        context = PlanningContext.for_request(request)
        with pytest.raises(NoPlanError):
            rank(context, work_section(network, request.parts), lambda _: None)


def test_orders_beside_each_other_are_no_contradiction(network: Any) -> None:
    orders = PageOrders(
        work=WORK,
        force=("M0142:100", "V011"),
        forbid=("M0142:110:120", "V012", "M0142:99.4"),
        keep_out=(_square(network, "M0142", 110.0),),
        keep_on=("C00001",),
        own_supply=("C00068",),
        max_stops=2,
    )
    assert conflicts_of(request_of(orders, network, default_rules(), options=1, weather=False)) == ()


def test_who_hangs_on_the_work_cannot_stay_on(network: Any) -> None:
    rules = default_rules()
    # Who lies in the zone of every plan: attached between the ends of the work section.
    whole = (PageWork(main_id="M0048", from_m=0.5, to_m=float(85)),)
    request = request_of(PageOrders(work=whole), network, rules, options=1, weather=False)
    context = PlanningContext.for_request(request)
    cut = next(context.cuts(isolation_problem(context, work_section(network, request.parts))))
    names = [network.customers.id[row] for row in cut.customers.tolist()]
    assert names
    ordered = request_of(
        PageOrders(work=whole, keep_on=(*names, "C00001")), network, rules, options=1, weather=False
    )
    context = PlanningContext.for_request(ordered)
    problem = isolation_problem(context, work_section(network, ordered.parts))
    lines = conflicts_in_every_zone(context, problem)
    assert lines
    assert {line.split("”")[0].removeprefix("“").removesuffix(" stays on") for line in lines} <= set(names)
    with pytest.raises(NoPlanError):
        rank(context, work_section(network, ordered.parts), lambda _: None)


def test_own_supply_against_keep_on(network: Any) -> None:
    orders = PageOrders(work=WORK, keep_on=("C00068",), own_supply=("C00068",))
    (line,) = conflicts_of(request_of(orders, network, default_rules(), options=1, weather=False))
    assert "C00068 stays on" in line


def test_no_plan_names_the_order_that_frees_it() -> None:
    error = NoPlanError("no set of stops holds every constraint", ("the side towards R1 is barred",))
    error.lifted = (Lifted(LiftedKind.FORBID, ("M1 2.00 m",)), Lifted(LiftedKind.KEEP_ON, ("C1",)))
    words = no_plan_in_words(error)
    assert "\n" not in words
    assert words.endswith("once “no stop at M1 2.00 m” is taken back, or once “C1 stays on” is taken back")
    assert "the side towards R1 is barred" in words
    for kind in LiftedKind:
        error.lifted = (Lifted(kind, ("X",)),)
        assert "there is a plan once " in no_plan_in_words(error)
