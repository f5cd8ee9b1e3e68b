"""Trust is judged rightly: the change is made in the layers themselves, and they are walked again.

The walk (`tests.support.independent`) shares no code with the package. It is done for every doubtful record of the
network, whether the plan names it or not, so that nothing is left out either.
"""

from __future__ import annotations

from typing import Any

import pytest
from shapely.geometry import LineString, Point

from netplan.network.build import build_network
from netplan.network.work_section import WorkPart
from netplan.planfile.model import Option
from netplan.planning.make_plan import PlanRequest, make_plan
from netplan.rules import read_rules
from tests.support.independent import Outcome, Walker
from tests.support.networks import customer, layers, main, service, station, valve

Frames = dict[str, Any]
WORK = ("W", 48.0, 52.0)


def street(n: str, x: float, y: float, *, east: bool) -> tuple[dict[str, Any], dict[str, Any]]:
    """Return a service and its customer at a place on a main that runs east or north."""
    end = (x, y + 7) if east else (x + 7, y)
    return service(f"S{n}", (x, y), end), customer(f"C{n}", end, service_id=f"S{n}")


def doubtful(*, west: bool) -> Frames:
    """Return a street with work in the middle, doubtful records all round, and a loop in the west or none."""
    mains = [
        main("A", (0, 0), (300, 0), od_mm=180),
        main("W", (100, 0), (100, 100)),
        main("T", (100, 100), (100, 180)),  # stranded or kept behind the work
        main("B", (200, 0), (200, 100)),
        main("N", (101.2, 180), (200, 180), (200, 100)),  # ends 1.2 m short of T
        main("X", (130, 40), (101, 40)),  # ends 1 m short of the work's own main, 40 m along
        main("X2", (130, 0), (130, 40)),
        main("Y", (60, 80), (140, 80)),  # crosses the work's main without a joint
        main("Y2", (60, 80), (60, 0)),
        main("L", (300, 0), (300, 100)),
        main("L2", (300, 100), (200, 100)),
        main("Q", (100, 70), (160, 70)),  # joined to the work's main, a closed valve towards B
        main("Q2", (160, 70), (200, 70)),
        main("D", (0, 0), (0, 120)),
        main("Z", (300, 0), (400, 0)),
        *([main("E", (0, 120), (0, 180), (100, 180))] if west else []),
    ]
    places = [
        ("1", 100, 20, False),
        ("2", 100, 90, False),
        ("3", 100, 150, False),
        ("4", 200, 40, False),
        ("5", 200, 140, False),
        ("6", 115, 40, True),
        ("7", 80, 80, True),
        ("8", 300, 60, False),
        ("9", 250, 100, True),
        ("10", 130, 70, True),
        ("11", 180, 70, True),
        ("12", 0, 100, False),
        ("13", 380, 0, True),
    ]
    houses = [street(n, x, y, east=east) for n, x, y, east in places]
    return layers(
        mains=mains,
        services=[s for s, _ in houses],
        customers=[c for _, c in houses],
        regulators=[station("R1", (0, 0)), station("R2", (300, 0))],
        valves=[
            valve("V-shut", (162, 70), "closed"),
            valve("V-loop", (200, 10), "unknown"),  # the loop by L feeds N even without it
            valve("V-west", (0, 50), "unknown"),
            valve("V-only", (350, 0), "unknown"),  # were it closed, Z would have no gas today
            valve("V-row", (100, 5), "unknown"),
            valve("V-tail", (100, 110), "unknown"),
        ],
    )


def changed(frames: Frames, layer: str, feature: str, change: Any) -> Frames:
    """Return layers in which one feature is another."""
    frame = frames[layer].copy()
    row = frame.index[frame["id"] == feature][0]
    for column, value in change(frame.loc[row]).items():
        if column == "geometry":
            frame = frame.set_geometry([value if k == row else g for k, g in enumerate(frame.geometry)])
            frame = frame.set_crs(frames[layer].crs, allow_override=True)
        else:
            frame.loc[row, column] = value
    return {**frames, layer: frame}


def doubts(frames: Frames) -> dict[tuple[str, str], Frames]:
    """Return layers for each doubtful record, with that record the other way round."""
    other = {"unknown": "closed", "closed": "open"}
    found = {}
    for record in frames["valves"].to_dict("records"):
        if record["state"] in other:
            state = other[record["state"]]
            found[("valves", record["id"])] = changed(
                frames, "valves", record["id"], lambda _, s=state: {"state": s}
            )
    lines = dict(zip(frames["mains"]["id"], frames["mains"].geometry, strict=True))
    for name, into in (("N", "T"), ("X", "W")):
        coords = list(lines[name].coords)
        at = 0 if name == "N" else -1
        near = lines[into].interpolate(lines[into].project(Point(coords[at])))
        coords[at] = (near.x, near.y)
        found[("mains", name)] = changed(
            frames, "mains", name, lambda _, c=coords: {"geometry": LineString(c)}
        )
    # The crossing becomes a joint where the main Y is two features that end on W.
    whole = lines["Y"]
    meet = whole.intersection(lines["W"])
    first = LineString([whole.coords[0], (meet.x, meet.y)])
    split = changed(frames, "mains", "Y", lambda _: {"geometry": first})
    rest = frames["mains"][frames["mains"]["id"] == "Y"].assign(id="Y-rest")
    rest = rest.set_geometry([LineString([(meet.x, meet.y), whole.coords[-1]])]).set_crs(rest.crs)
    split["mains"] = split["mains"]._append(rest, ignore_index=True)
    found[("mains", "Y")] = split
    return found


def walked(frames: Frames, option: Option) -> Outcome:
    links = tuple(
        ((b.from_.main_id, b.from_.chainage_m), (b.to.main_id, b.to.chainage_m)) for b in option.bypasses
    )
    return Walker(frames).walk(
        [(stop.main_id, stop.chainage_m) for stop in option.stops if stop.valve_id is None],
        [WORK],
        closed=frozenset(stop.valve_id for stop in option.stops if stop.valve_id),
        opened=frozenset(opened.valve_id for opened in option.opened_valves),
        links=links,
    )


def dark(outcome: Outcome) -> frozenset[str]:
    return outcome.isolated | outcome.stranded


@pytest.fixture(scope="module", params=[True, False], ids=["west", "no-west"])
def frames(request: pytest.FixtureRequest) -> Frames:
    return doubtful(west=request.param)


@pytest.fixture(scope="module", params=[True, False], ids=["feeds", "no-feeds"])
def options(request: pytest.FixtureRequest, frames: Frames) -> tuple[Option, ...]:
    asked = PlanRequest(
        build_network(frames),
        (WorkPart(*WORK),),
        read_rules(None),
        air_temp_c=8.0,
        options=4,
        feeds_allowed=request.param,
        weather=False,
    )
    found = make_plan(asked).plan.options
    assert len(found) == 4
    return found


def test_each_record_taken_the_other_way_round_does_what_the_plan_says(
    frames: Frames, options: tuple[Option, ...]
) -> None:
    other_way = doubts(frames)
    today = {key: dark_today(layers) for key, layers in other_way.items()}
    seen = set()
    for option in options:
        rows = {(row.layer, key): row for row in option.trust.would_change for key in names(row)}
        plain = walked(frames, option)
        assert not plain.section_fed
        for key, layers_then in other_way.items():
            then = walked(layers_then, option)
            row = rows.get(key)
            assert then.section_fed == (row is not None and row.gas_reaches_work), key
            if then.section_fed:
                seen.add("gas")
                continue
            more = dark(then) - dark(plain) - today[key]
            fewer = dark(plain) - dark(then)
            if not more and not fewer:
                assert row is None or row.zone_parted, key
                seen.add("nothing")
                continue
            assert row is not None, (key, more, fewer)
            assert set(row.customers_off) == more, key
            assert set(row.customers_on) == fewer, key
            seen.add("off" if more else "on")
    loop = "E" in set(frames["mains"]["id"])
    fed = any(option.bypasses or option.opened_valves for option in options)
    assert seen >= {"gas", "nothing", "off" if loop else "nothing" if fed else "on"}


def names(row: Any) -> set[str]:
    # A crossing is the same whichever of the two mains is named first.
    return {row.feature_id, row.other_id} if row.code == "crossing" else {row.feature_id}


def dark_today(frames: Frames) -> frozenset[str]:
    """Return who has no gas without any stop."""
    return Walker(frames).walk([], [("A", 1.0, 2.0)]).stranded


def test_a_joint_that_may_be_there_says_where_to_stop_further(options: tuple[Option, ...]) -> None:
    found = [row for option in options for row in option.trust.would_change if row.gas_reaches_work]
    assert {row.code for row in found} >= {"near-miss", "crossing"}
    for row in found:
        assert row.further_stop
        assert f"stop main {row.main_id} at {row.chainage_m:.1f} m" in row.what


def test_a_valve_without_which_nobody_would_have_gas_today_is_open(options: tuple[Option, ...]) -> None:
    for option in options:
        assert "V-only" not in {row.feature_id for row in option.trust.would_change}


def test_findings_of_the_checks_that_touch_the_plan_are_in_it(frames: Frames) -> None:
    plan = make_plan(
        PlanRequest(
            build_network(frames),
            (WorkPart(*WORK),),
            read_rules(None),
            air_temp_c=8.0,
            options=1,
            weather=False,
        )
    ).plan
    found = {(row.code, row.feature_id) for row in plan.findings}
    mains = {part.pipe_id for zone in plan.options[0].zones for part in zone.pipes if part.layer == "mains"}
    assert "W" in mains
    assert ("crossing", "W") in found
    assert {(row.code, row.feature_id) for row in plan.options[0].trust.would_change} - found <= {
        (row.code, row.feature_id) for row in plan.options[0].trust.would_change if row.code == "valve-closed"
    }
