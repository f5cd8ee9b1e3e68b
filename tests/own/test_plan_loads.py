"""What an option has to carry: every hour, gas for purging in, fewer sharing an uplift, relighting (own)."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from netplan.core.errors import NoPlanError
from netplan.demand import customer_pressure, node_demand
from netplan.network.work_section import WorkPart, work_section
from netplan.planning.connectivity import demands_after, flow_after, kept_inlets
from netplan.planning.context import PlanningContext
from netplan.planning.evaluated_option import EvaluatedOption
from netplan.planning.option_records.customer_records import relighting_of
from netplan.planning.option_records.option_warnings import warnings_of
from netplan.planning.option_records.pressure_records import states_of
from netplan.planning.rank import Ranking, rank
from netplan.planning.request import PlanRequest
from netplan.rules import read_rules
from tests.support.networks import build, customer, main, service, station


def desk_of(rules: dict[str, Any], work: tuple[float, float], **layers: Any) -> PlanningContext:
    """Return the desk for a length of M1."""
    parts = (WorkPart("M1", *work),)
    return PlanningContext.for_request(
        PlanRequest(build(strict=False, **layers), parts, read_rules(None, rules))
    )


def ranked(context: PlanningContext) -> Ranking:
    section = work_section(context.request.network, context.request.parts)
    return rank(context, section, lambda _: None)


def _two_ways(school_kwh: float) -> dict[str, Any]:
    """Many houses by the station, a school behind the work that a thin way round feeds as well.

    Houses want most from six to seven, the school from seven to eight.
    """
    return {
        "mains": [
            main("M1", (0, 0), (300, 0), od_mm=125.0, year=2010),
            main("M2", (0, 0), (0, 40), (300, 40), (300, 0), od_mm=63.0, year=2010),
        ],
        "services": [
            service("S1", (20, 0), (20, 8), od_mm=110.0),
            service("S2", (200, 0), (200, 8), od_mm=110.0),
        ],
        "customers": [
            customer("C1", (20, 8), service_id="S1", annual_kwh=1.5e6, meters=80),
            customer(
                "C2", (200, 8), service_id="S2", annual_kwh=school_kwh, category="public", priority="school"
            ),
        ],
        "regulators": [station("R1", (0, 0), outlet_mbar=25.0)],
    }


def _without_other_hours(context: PlanningContext) -> PlanningContext:
    context.__dict__["hours"] = context.hours[:1]
    return context


def test_another_hour_than_that_of_the_greatest_total_breaks_a_meter() -> None:
    town = _two_ways(school_kwh=2.3e5)
    alone = ranked(_without_other_hours(desk_of({}, (110.0, 116.0), **town))).options[0]
    assert alone.feeds_minor == 0
    context = desk_of({}, (110.0, 116.0), **town)
    assert context.hours[0] == context.demand.worst_hour
    option = ranked(context).options[0]
    assert option.feeds_minor > 0
    assert option.burden_minor > alone.burden_minor
    # The same network without the bypass, solved by hand in the school's hour, is what it is for.
    closed = np.flatnonzero(alone.reach.closed & context.base.links.is_open)
    least = {}
    for place, demand in enumerate(demands_after(context, alone.reach, alone.gone, context.base.node_count)):
        solved = context.solver.resolve(demand_m3_per_s_std=demand, closed_links=closed)
        inlets = kept_inlets(context, alone.reach, alone.gone)
        least[place] = float(solved.pressure_pa_gauge[inlets.node].min())
    assert least[0] >= context.required_pa_gauge > min(least.values())


def test_states_name_the_hour_of_their_least_pressure() -> None:
    context = desk_of({}, (110.0, 116.0), **_two_ways(school_kwh=2.0e5))
    option = ranked(context).options[0]
    states = {state.after_step: state for state in states_of(context, option, None)}
    greatest = context.demand.hours[context.demand.worst_hour].words()
    assert states["meters off"].hour == greatest
    assert states["S1 in"].hour != greatest
    assert states["S1 in"].at == "C2"


def test_what_holds_in_the_hours_to_check_holds_in_all() -> None:
    # A little more at the school would call for a feed: the hour that decides is not that of the greatest total.
    context = desk_of({}, (110.0, 116.0), **_two_ways(school_kwh=2.2e5))
    unfed = [option for option in ranked(context).options if option.fed is None]
    assert len(unfed) == 3
    assert len(context.demand.hours) == 14 > len(context.hours)
    for option in unfed:
        closed = np.flatnonzero(option.reach.closed & context.base.links.is_open)
        inlets = kept_inlets(context, option.reach, option.gone)
        spare = []
        for hour in range(len(context.demand.hours)):
            flow = flow_after(context, option.reach, option.gone, hour)
            demand = node_demand(context.request.network.customers, flow, context.base.node_count)
            solved = context.solver.resolve(demand_m3_per_s_std=demand, closed_links=closed)
            spare.append(float((solved.pressure_pa_gauge[inlets.node] - inlets.required_pa_gauge).min()))
        assert min(spare) >= -1e-6
        assert min(spare) < 10.0 < spare[context.demand.worst_hour]


# --- purging in ------------------------------------------------------------------------------------------


def _behind_a_thin_main(*, must_stay: bool) -> dict[str, Any]:
    """Hang the wide main of the work on a thin one, and a business before it as well."""
    return {
        "mains": [
            main("M0", (-200, 0), (0, 0), od_mm=63.0, year=2010),
            main("M1", (0, 0), (300, 0), od_mm=125.0, year=2010),
        ],
        "services": [service("S1", (20, 0), (20, 8), od_mm=63.0), service("S2", (200, 0), (200, 8))],
        "customers": [
            customer(
                "C1",
                (20, 8),
                service_id="S1",
                annual_kwh=1.2e5,
                category="business",
                priority="medical" if must_stay else None,
            ),
            customer("C2", (200, 8), service_id="S2"),
        ],
        "regulators": [station("R1", (-200, 0), outlet_mbar=25.0)],
    }


def _without_purge(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("netplan.planning.deficient_parts.purge_draws", lambda *_: ())


@pytest.mark.parametrize("purges", [True, False])
def test_purging_in_is_a_load(monkeypatch: pytest.MonkeyPatch, *, purges: bool) -> None:
    if not purges:  # the load left out
        _without_purge(monkeypatch)
    free = ranked(desk_of({}, (110.0, 116.0), **_behind_a_thin_main(must_stay=False))).options
    assert all(0 in option.off for option in free) is purges
    held = desk_of({}, (110.0, 116.0), **_behind_a_thin_main(must_stay=True))
    if not purges:
        assert ranked(held).options
        return
    with pytest.raises(NoPlanError) as refused:
        ranked(held)
    assert any("purge" in reason for reason in refused.value.reasons)
    rule = {"purge": {"draw_is_load": False}}
    assert ranked(desk_of(rule, (110.0, 116.0), **_behind_a_thin_main(must_stay=True))).options


def test_a_bypass_is_sized_with_the_purge_on_top(monkeypatch: pytest.MonkeyPatch) -> None:
    town = _behind_a_thin_main(must_stay=False)
    town["customers"] = [
        customer("C1", (20, 8), service_id="S1", annual_kwh=1000.0),
        customer("C2", (200, 8), service_id="S2", annual_kwh=5e4, category="business", priority="medical"),
    ]
    town["services"] = [service("S1", (20, 0), (20, 8)), service("S2", (200, 0), (200, 8), od_mm=63.0)]
    bores = {}
    for purges in (True, False):
        if not purges:
            _without_purge(monkeypatch)
        option = ranked(desk_of({}, (110.0, 116.0), **town)).options[0]
        bores[purges] = [feed.size.bore_m for feed in option.feeds if feed is not None]
        assert [judged.name for judged in option.work.purging] == ["purge in at S1"] * purges
    assert bores[True] > bores[False]


def test_the_draw_is_the_least_velocity_in_the_widest_main_of_the_zone() -> None:
    # By hand: 125 mm SDR 11 has a bore of 102.27 mm; 0.6 m/s in it is 17.74 m³/h at 10 °C and air pressure.
    context = desk_of({}, (110.0, 116.0), **_two_ways(school_kwh=1e5))
    option = ranked(context).options[0]
    (draw,) = option.draws
    actual = 0.6 * math.pi / 4 * (0.125 * (1 - 2 / 11)) ** 2
    assert draw.flow_m3_per_s_std == pytest.approx(actual * 288.15 / 283.15, rel=2e-3)
    assert set(draw.stops) == set(range(len(option.cut.stops)))


# --- who shares an uplift --------------------------------------------------------------------------------


def _many(off: list[int]) -> tuple[PlanningContext, EvaluatedOption, np.ndarray[Any, Any]]:
    context = desk_of({}, (110.0, 116.0), **_street(12))
    option = ranked(context).options[0]
    gone = option.reach.isolated.copy()
    gone[off] = True
    return context, option, gone


def _street(houses: int) -> dict[str, Any]:
    """Houses before the work, none behind it; a second main brings gas to the far end."""
    at = [5.0 + 8.0 * n for n in range(houses)]
    return {
        "mains": [
            main("M1", (0, 0), (300, 0), od_mm=125.0, year=2010),
            main("M2", (0, 0), (0, 40), (300, 40), (300, 0), od_mm=125.0, year=2010),
        ],
        "services": [service(f"S{n}", (x, 0), (x, 8)) for n, x in enumerate(at)],
        "customers": [customer(f"C{n}", (x, 8), service_id=f"S{n}") for n, x in enumerate(at)],
        "regulators": [station("R1", (0, 0))],
    }


@pytest.mark.parametrize("off", [[0], [2, 3, 4], list(range(11))])
def test_those_who_stay_peak_higher_together_less(off: list[int]) -> None:
    context, option, gone = _many(off)
    all_on = flow_after(context, option.reach, option.reach.isolated)
    fewer = flow_after(context, option.reach, gone)
    stay = ~gone
    assert (fewer[gone] == 0.0).all()
    assert (fewer[stay] > all_on[stay]).all()
    assert fewer.sum() < all_on.sum()
    # By hand: (1 + 0.35/√n) in the shipped rules, over n meters of one kind.
    n, m = int((~option.reach.isolated).sum()), int(stay.sum())
    ratio = (1 + 0.35 / math.sqrt(m)) / (1 + 0.35 / math.sqrt(n))
    np.testing.assert_allclose(fewer[stay] / all_on[stay], ratio, rtol=1e-12)


def test_a_node_of_customers_off_and_kept_keeps_the_draw_of_the_kept() -> None:
    town = _street(4)
    # C0 draws at the end of C1's service too.
    town["customers"][0]["service_id"] = "S0;S1"
    context = desk_of({}, (110.0, 116.0), **town)
    option = ranked(context).options[0]
    owner, at = context.attachments
    shared = int(at[owner == 1][0])
    assert shared in at[owner == 0]
    gone = option.reach.isolated.copy()
    gone[0] = True
    demand = demands_after(context, option.reach, gone, context.base.node_count)[0]
    flow = flow_after(context, option.reach, gone)
    assert demand[shared] == pytest.approx(flow[1])
    assert flow[1] > 0.0
    assert shared in kept_inlets(context, option.reach, gone).node


# --- relighting ------------------------------------------------------------------------------------------


def _houses_off(thin_mm: float, peak_kw: float) -> tuple[PlanningContext, EvaluatedOption]:
    """Turn twelve houses behind the work off, at the end of a thin main; a hut before it stays on."""
    at = [20.0, *(200.0 + 8.0 * n for n in range(12))]
    peaks = [1.0, *(12 * [peak_kw])]
    town = {
        "mains": [
            main("M0", (-200, 0), (0, 0), od_mm=thin_mm, year=2010),
            main("M1", (0, 0), (300, 0), od_mm=125.0, year=2010),
        ],
        "services": [service(f"S{n}", (x, 0), (x, 8)) for n, x in enumerate(at)],
        "customers": [
            customer(f"C{n}", (x, 8), service_id=f"S{n}", annual_kwh=None, peak_kw=peak)
            for n, (x, peak) in enumerate(zip(at, peaks, strict=True))
        ],
        "regulators": [station("R1", (-200, 0), outlet_mbar=25.0)],
    }
    no_feed = {"price": {"bypass": 50000.0}, "purge": {"draw_is_load": False}}
    context = desk_of(no_feed, (110.0, 116.0), **town)
    option = ranked(context).options[0]
    assert option.off.tolist() == list(range(1, 13))
    return context, option


def test_relighting_together_is_solved() -> None:
    context, option = _houses_off(125.0, 30.0)
    found = relighting_of(context, option)
    assert found is not None
    assert found.holds
    assert (found.together, found.words()) == (12, "relighting, all together")
    # By hand: 30 kW each, no diversity, the rules' 15 % on top; the hut as ever.
    flow = np.full(13, 30e3 / context.demand.hs_j_per_m3_std * 1.15)
    flow[0] = context.before_flow_m3_per_s_std[0]
    demand = node_demand(context.request.network.customers, flow, context.base.node_count)
    by_hand = customer_pressure(
        context.request.network.customers,
        context.solver.resolve(demand_m3_per_s_std=demand).pressure_pa_gauge,
    )
    assert found.least_pa_gauge == pytest.approx(by_hand.min(), abs=1e-6)
    assert not any("relighting" in line for line in warnings_of(context, option, found))
    last = states_of(context, option, found)[-1]
    assert last.after_step == "relighting, all together"
    assert last.least_mbar == pytest.approx(by_hand.min() / 100.0, abs=1e-3)


def test_where_the_network_does_not_hold_all_together_rounds_are_smaller() -> None:
    context, option = _houses_off(75.0, 27.4)
    found = relighting_of(context, option)
    assert found is not None
    assert found.holds
    assert 1 <= found.together < 12
    assert found.all_at_once_pa_gauge < context.required_pa_gauge <= found.least_pa_gauge
    (line,) = (line for line in warnings_of(context, option, found) if "relighting" in line)
    assert f"at most {found.together} at once" in line
    assert not context.weak_before.any()


def test_nobody_off_nobody_relit() -> None:
    context = desk_of({}, (110.0, 116.0), **_street(12))
    option = ranked(context).options[0]
    assert relighting_of(context, replace(option, off=np.zeros(0, dtype=np.int64))) is None
