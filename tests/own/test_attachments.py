"""Customers on the wrong service, on two, on one that is short of its main, and premises that stand twice.

Each case is written to a file, read, checked and planned: who may be without gas is off or in doubt.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pyogrio
import pytest
from scipy.spatial import KDTree
from shapely.geometry import LineString

from netplan.core.findings import Finding, Severity
from netplan.network.build import build_network
from netplan.network.checks import check_network
from netplan.network.model import Network
from netplan.network.work_section import WorkPart
from netplan.planfile.model import Option
from netplan.planning.make_plan import PlanRequest, make_plan
from netplan.readers import read_network
from netplan.rules import read_rules
from sample_network.make_town import FILE
from tests.support.networks import customer, layers, main, service, station

WORK = WorkPart("W", 48.0, 52.0)
Rows = dict[str, list[dict[str, Any]]]


def town() -> Rows:
    """Return two streets off a main: the work is in W, and all of W beyond it goes off; V keeps its gas."""
    return {
        "mains": [
            main("A", (0, 0), (200, 0)),
            main("W", (100, 0), (100, 100)),
            main("V", (140, 0), (140, 100)),
        ],
        "services": [
            service("S-w", (100, 80), (106, 80)),
            service("S-w2", (100, 90), (106, 90)),
            service("S-v", (140, 80), (137, 80)),
            service("S-v2", (140, 20), (147, 20)),
        ],
        "customers": [
            customer("C-w", (106.4, 80), service_id="S-w", street="Weaver Row"),
            customer("C-w2", (106, 90), service_id="S-w2", street="Weaver Row"),
            customer("C-v", (137.4, 80), service_id="S-v", street="Vine\nRow"),
            customer("C-v2", (147, 20), service_id="S-v2", street="Vine Row"),
        ],
        "regulators": [station("R1", (0, 0))],
    }


def written(rows: Rows, tmp_path: Path) -> Network:
    file = tmp_path / "town.gpkg"
    given: dict[str, Any] = {**rows}
    for name, frame in layers(**given).items():
        frame.to_file(file, layer=name, driver="GPKG")
    return read_network(file)


def found(network: Network, code: str) -> dict[str, Finding]:
    return {finding.feature_id: finding for finding in check_network(network) if finding.code == code}


def planned(network: Network) -> Option:
    request = PlanRequest(network, (WORK,), read_rules(None), air_temp_c=8.0, options=1, weather=False)
    return make_plan(request).plan.options[0]


def off(option: Option) -> set[str]:
    return {one.id for one in option.customers if one.effect == "off"}


def in_doubt(option: Option) -> dict[tuple[str, str], str]:
    return {(row.id, row.record_id): row.why for row in option.in_doubt}


def row_of(rows: Rows, layer: str, name: str) -> dict[str, Any]:
    return next(row for row in rows[layer] if row["id"] == name)


def test_the_town_is_sound_and_the_work_turns_off_its_street(tmp_path: Path) -> None:
    network = written(town(), tmp_path)
    codes = {finding.code for finding in check_network(network)}
    # The rows of `tests.support.networks` have few columns, and addresses of no street.
    assert codes == {"no-sensing-points", "column-absent", "layer-absent", "address-disagrees"}
    option = planned(network)
    assert off(option) == {"C-w", "C-w2"}
    assert option.in_doubt == ()


def test_swapped_service_ids_are_told_at_both_and_the_true_customer_is_in_doubt(tmp_path: Path) -> None:
    rows = town()
    row_of(rows, "customers", "C-w")["service_id"] = "S-v"
    row_of(rows, "customers", "C-v")["service_id"] = "S-w"
    network = written(rows, tmp_path)
    told = found(network, "nearer-service")
    assert set(told) == {"C-w", "C-v"}
    assert all(finding.severity is Severity.WARNING for finding in told.values())
    for part in (
        "S-v, 30.6 m away",
        "service S-w ends 0.4 m away",
        "C-v (Vine Row), 31.4 m",
        "of Weaver Row is recorded",
    ):
        assert part in told["C-w"].what
    option = planned(network)
    assert off(option) == {"C-v", "C-w2"}, "as recorded"
    why = in_doubt(option)
    assert set(why) == {("C-w", "C-w")}
    assert "S-w, 0.4 m away" in why["C-w", "C-w"]


def test_a_service_id_of_a_neighbour_is_told_where_the_own_service_is_left_over(tmp_path: Path) -> None:
    rows = town()
    row_of(rows, "customers", "C-w")["service_id"] = "S-v"
    network = written(rows, tmp_path)
    told = found(network, "nearer-service")
    assert set(told) == {"C-w"}
    assert "recorded for nobody" in told["C-w"].what
    assert ("C-w", "C-w") in in_doubt(planned(network))


def test_a_meter_at_the_far_side_of_its_building_is_not_told(tmp_path: Path) -> None:
    rows = town()
    rows["customers"].append(customer("C-deep", (106, 86.5), service_id="S-w"))
    assert not found(written(rows, tmp_path), "nearer-service")


@pytest.mark.parametrize("nearer", ["S-w", "S-x"])
def test_between_two_service_ends_it_counts_as_fed_by_both(nearer: str, tmp_path: Path) -> None:
    rows = town()
    rows["services"].append(service("S-x", (140, 70), (108.4, 80)))
    x = {"S-w": 107.15, "S-x": 107.25}[nearer]
    rows["customers"].append(customer("C-b", (x, 80)))
    network = written(rows, tmp_path)
    told = found(network, "two-services")
    assert set(told) == {"C-b"}
    for part in ("S-w (1.15 m)" if nearer == "S-w" else "S-w (1.25 m)", "S-x (1."):
        assert part in told["C-b"].what
    row = network.customers.id.find("C-b")
    start = network.customers.attach_start
    assert start[row + 1] - start[row] == 2
    assert "C-b" in off(planned(network))


def test_who_lies_on_a_service_end_hangs_on_that_one_and_is_in_doubt_beside_another(tmp_path: Path) -> None:
    rows = town()
    rows["services"].append(service("S-x", (140, 70), (106.9, 80)))
    rows["customers"].append(customer("C-b", (106.9, 80)))
    network = written(rows, tmp_path)
    assert not found(network, "two-services")
    option = planned(network)
    assert "C-b" not in off(option)
    assert ("C-b", "C-b") in in_doubt(option)


@pytest.mark.parametrize("chained", [False, True], ids=["one service", "services one after the other"])
def test_a_service_short_of_its_main_names_everybody_behind_it(chained: bool, tmp_path: Path) -> None:
    rows = town()
    short = row_of(rows, "services", "S-w")
    x, y = short["geometry"].coords[1]
    short["geometry"] = LineString([(x - 5.7, y), (x, y)])
    rows["customers"].append(customer("C-flat", (106.2, 80.4), service_id="S-w"))
    behind = ["C-flat", "C-w"]
    if chained:
        rows["services"].append(service("S-on", (106, 80), (112, 80)))
        rows["customers"].append(customer("C-on", (112, 80), service_id="S-on"))
        behind = ["C-flat", "C-on", "C-w"]
    network = written(rows, tmp_path)
    told = found(network, "near-miss")
    assert set(told) == {"S-w"}
    assert "0.30 m from main W" in told["S-w"].what
    assert told["S-w"].what.endswith(f"behind it: {', '.join(behind)}")
    why = in_doubt(planned(network))
    assert {(name, "S-w") for name in behind} <= set(why)


@pytest.mark.parametrize(
    "address", ["C-W EXAMPLE ROW", "C-w  Example  Row", "C-w Example Row", " c-w example row, "]
)
def test_premises_twice_under_another_id_are_told_and_nobody_is_missed(address: str, tmp_path: Path) -> None:
    rows = town()
    rows["customers"].append(customer("D-9", (108.4, 80), service_id="S-v", address=address))
    row_of(rows, "customers", "C-v")["service_id"] = "S-v"
    network = written(rows, tmp_path)
    told = found(network, "double-customer")
    assert set(told) == {"D-9"}
    assert "customer C-w, 2.0 m away; both stay on the list" in told["D-9"].what
    option = planned(network)
    assert "C-w" in off(option)
    assert "C-w, 2.0 m away, who is off" in in_doubt(option)["D-9", "D-9"]


def test_other_house_numbers_and_places_are_no_double(tmp_path: Path) -> None:
    rows = town()
    for name, address, at in (
        ("D-1", "1 1 High Street", (106, 82)),
        ("D-2", "11 High Street", (106, 81)),
        ("D-3", "Flat 1, 2 High Street", (106, 81)),
        ("D-4", "Flat 12 High Street", (106, 81)),
        ("D-5", "11 HIGH STREET", (147, 25)),
    ):
        rows["customers"].append(customer(name, at, address=address, service_id="S-w"))
    assert not found(written(rows, tmp_path), "double-customer")


@pytest.mark.parametrize("word", ["no", "NO", "None", "false", "0", "-", "n/a", False, 0])
def test_a_word_for_none_in_the_priority_column_is_no_priority(word: Any, tmp_path: Path) -> None:
    rows = town()
    for row in rows["customers"]:
        row["priority"] = word
    network = written(rows, tmp_path)
    assert set(network.customers.priority) == {""}
    told = found(network, "priority-none")[""]
    assert f"priority '{str(word).lower() if isinstance(word, bool) else word}' is taken as none" in told.what
    assert "4 customers: C-v, C-v2, C-w, C-w2" in told.what
    assert off(planned(network)) == {"C-w", "C-w2"}


@pytest.mark.parametrize(
    ("word", "kept"), [("yes", "yes"), (True, "True"), (1, "1"), ("x", "x"), ("Z7", "Z7")]
)
def test_a_word_that_names_no_known_reason_counts_as_priority(word: Any, kept: str, tmp_path: Path) -> None:
    rows = town()
    rows["customers"] = [{**row, "priority": None} for row in rows["customers"]]
    row_of(rows, "customers", "C-w2")["priority"] = word
    network = written(rows, tmp_path)
    assert list(network.customers.priority) == ["", "", "", kept]
    told = found(network, "unknown-priority")[""]
    assert f"'{kept}'" in told.what
    assert told.what.endswith("C-w2")
    assert told.severity is Severity.WARNING
    option = planned(network)
    assert "C-w2" not in off(option)
    assert [one.priority for one in option.customers if one.id == "C-w2"] == [kept]


def test_a_code_in_another_spelling_is_the_code(tmp_path: Path) -> None:
    rows = town()
    rows["customers"][0]["priority"] = "Care Home"
    network = written(rows, tmp_path)
    assert sorted(set(network.customers.priority)) == ["", "care_home"]
    assert "read as care_home for 1 customer" in found(network, "priority-spelling")[""].what


def test_known_reasons_are_those_that_the_queue_knows() -> None:
    from netplan.customers import priority_codes
    from netplan.network.priority_words import priority_words

    known = priority_words()
    assert {word for word, reading in known.items() if reading == "reason"} == set(priority_codes())
    assert set(known.values()) == {"reason", "none", "no reason"}


def test_swapped_neighbours_of_the_sample_are_each_told() -> None:
    layer_names = pyogrio.list_layers(FILE)[:, 0]
    frames = {name: gpd.read_file(FILE, layer=name) for name in layer_names}
    customers = frames["customers"]
    xy = np.column_stack([customers.geometry.x, customers.geometry.y])
    pairs: dict[int, int] = {}
    for one, other in sorted(KDTree(xy).query_pairs(35.0)):
        apart = float(np.hypot(*(xy[one] - xy[other])))
        streets = customers["street"].iloc[[one, other]]
        single = customers["service_id"].iloc[[one, other]].str.contains(";").sum() == 0
        if apart > 28.0 and streets.nunique() == 2 and single and not {one, other} & pairs.keys():
            pairs |= {one: other, other: one}
    assert len(pairs) > 20
    given = customers["service_id"].to_numpy(copy=True)
    unknown = "C00042"  # planted in the sample: it names a service that is not there
    pairs = {k: v for k, v in pairs.items() if unknown not in (customers["id"][k], customers["id"][v])}
    given[list(pairs)] = given[list(pairs.values())]
    frames["customers"] = customers.assign(service_id=given)
    told = found(build_network(frames), "nearer-service")
    ids = customers["id"].tolist()
    assert set(told) == {ids[row] for row in pairs}
    for row, other in pairs.items():
        assert f"{ids[other]} ({customers['street'][other]}), " in told[ids[row]].what
