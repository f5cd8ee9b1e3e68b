"""The planner's word, priority customers, and the reasons when nothing can be done."""

from __future__ import annotations

import pytest

from netplan.core.errors import NoPlanError
from netplan.isolation import Orders, Stretch
from tests.own.test_isolation_places import best, places, some, street
from tests.support.networks import build, fitting, keep_out, main, valve


def test_forced_stop_is_in_every_cut() -> None:
    network = build(**street())
    row = network.pipes.id.find("B")
    orders = Orders(force=(Stretch(row, 75.0, 75.0),))
    for cut in some(network, ("B", 40, 60), most=8, orders=orders):
        assert ("B", 75.0) in [(name, at) for name, _, at, _ in places(network, cut)]


def test_forced_stop_that_does_not_fit_says_why() -> None:
    network = build(**street())
    row = network.pipes.id.find("B")
    with pytest.raises(
        NoPlanError, match=r"ordered stop at B:60\.5 cannot be made.*less than 0\.5 m from the work"
    ):
        best(network, ("B", 40, 60), orders=Orders(force=(Stretch(row, 60.5, 60.5),)))
    with pytest.raises(NoPlanError, match="lies in the work section"):
        best(network, ("B", 40, 60), orders=Orders(force=(Stretch(row, 50.0, 50.0),)))


def test_forbidding_moves_the_stop_and_never_helps() -> None:
    network = build(**street())
    row = network.pipes.id.find("B")
    free = best(network, ("B", 40, 60))
    moved = best(network, ("B", 40, 60), orders=Orders(forbid=(Stretch(row, 60.0, 80.0),)))
    assert moved.stops[1].chainage_m == pytest.approx(80.0, abs=1e-5)
    assert moved.bound_minor > free.bound_minor


def test_forbidden_and_forced_valves() -> None:
    layers = street()
    layers["valves"] = [valve("V1", (80, 0))]
    network = build(**layers)
    assert "valve" in {stop.method for stop in best(network, ("B", 40, 60)).stops}
    forbidden = best(network, ("B", 40, 60), orders=Orders(forbid_valves=(0,)))
    assert "valve" not in {stop.method for stop in forbidden.stops}
    forced = some(network, ("B", 40, 60), orders=Orders(force_valves=(0,)), most=6)
    assert all(0 in [stop.valve for stop in cut.stops] for cut in forced)


def test_ordered_keep_out_and_kept_customers() -> None:
    network = build(**street())
    area = keep_out("x", (60, -5), (90, -5), (90, 5), (60, 5))["geometry"]
    cut = best(network, ("B", 40, 60), orders=Orders(keep_out=(area,)))
    assert cut.stops[1].chainage_m > 90
    row = network.customers.id.find("C100")
    assert row in best(network, ("B", 40, 99.5)).customers
    with pytest.raises(NoPlanError, match="customer C100, who must stay on"):
        best(network, ("B", 40, 100), orders=Orders(keep_customers=(row,)))


def test_priority_customers_need_an_alternative() -> None:
    layers = street()
    layers["customers"][3]["priority"] = "hospital"
    network = build(**layers)
    row = network.customers.id.find("C100")
    cut = best(network, ("B", 40, 100))
    assert cut.priority_customers.tolist() == [row]
    with pytest.raises(NoPlanError, match="must stay on"):
        best(network, ("B", 40, 100), alternatives=frozenset())
    assert best(network, ("B", 40, 100), alternatives=frozenset({row})).bound_minor == cut.bound_minor


def test_no_plan_names_the_side_and_what_would_have_to_give() -> None:
    layers = street()
    for row in layers["mains"][2:]:
        row.update(material="steel", bore_mm=100.0, sdr=None)
    layers["mains"][1] = main("B", (0, 0), (100, 0), year=2000)
    network = build(strict=False, **layers)
    with pytest.raises(NoPlanError) as caught:
        best(network, ("B", 40, 99.0))
    (reason,) = caught.value.reasons
    assert "towards station R2 cannot be stopped on B, C" in reason
    assert "not for steel" in reason
    assert "added fitting or valve" in reason


def test_unrecorded_fittings_make_a_place_provisional() -> None:
    cut = best(build(**street()), ("B", 40, 60))
    assert any("trial hole" in note for note in cut.stops[0].provisional)
    recorded = best(build(**street(), fittings=[fitting("F", (-50, 0))]), ("B", 40, 60))
    assert recorded.stops[0].provisional == ()
