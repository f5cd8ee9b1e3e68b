"""Who loses gas when a main is out, in a street small enough to be worked out by hand (own)."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pyarrow as pa
import pytest

from netplan.network.model import Network
from netplan.outputs.screen_table import rank_order
from netplan.screening import lost_at_ends
from netplan.screening.main_blocks import BlockFolder, split_blocks
from netplan.screening.screen_columns import EMPTY_ROW, SCHEMA
from netplan.screening.screen_run import Screen
from tests.support.networks import build, customer, injection, main, service, station, valve


def _street(*, link: bool) -> Network:
    """Return three mains in a row, fed by a station in the west and an injection in the east.

    A closed valve divides the middle one; a fourth main joins both sides of the valve where `link` is.
    C-E has a service on the first main and one on the third.
    """
    houses = {"C-A": 50, "C-B": 130, "C-C": 170, "C-D": 250}
    mains = [
        main("A", (0, 0), (100, 0)),
        main("B", (100, 0), (200, 0)),
        main("C", (200, 0), (300, 0)),
    ]
    services = [service(f"S{name}", (x, 0), (x, 8)) for name, x in houses.items()]
    customers: list[dict[str, Any]] = [
        customer(name, (x, 8), service_id=f"S{name}") for name, x in houses.items()
    ]
    services += [service("SE1", (80, 0), (80, 8)), service("SE2", (220, 0), (220, 8))]
    customers.append(customer("C-E", (80, 8), service_id="SE1;SE2"))
    if link:
        mains.append(main("D", (120, 0), (120, 50), (180, 50), (180, 0)))
        services.append(service("SG", (150, 50), (150, 58)))
        customers.append(customer("C-G", (150, 58), service_id="SG"))
    return build(
        strict=False,
        mains=mains,
        services=services,
        customers=customers,
        regulators=[station("R1", (0, 0))],
        injections=[injection("I1", (300, 0))],
        valves=[valve("V1", (150, 0), "closed")],
    )


def _lost(network: Network) -> dict[str, int]:
    loss = lost_at_ends(network)
    return {network.pipes.id[row]: int(loss.customers[row]) for row in range(network.pipes.n_mains)}


def test_what_hangs_on_a_station_and_what_hangs_on_an_injection() -> None:
    # Without A the station reaches C-A and C-B no more; without C the injection reaches C-C and C-D no more.
    assert _lost(_street(link=False)) == {"A": 2, "B": 2, "C": 2}


def test_a_main_that_a_closed_valve_divides_is_out_as_a_whole() -> None:
    # C-G is fed from either half of B: only without both it has no gas.
    assert _lost(_street(link=True)) == {"A": 1, "B": 3, "C": 1, "D": 1}


@pytest.mark.parametrize("quick", [True, False])
def test_every_main_is_in_one_block_of_its_district(quick: bool) -> None:
    district = np.repeat(np.array([0, 2, 1], dtype=np.int32), (130, 1, 51))
    blocks = split_blocks(district, quick=quick)
    rows = np.concatenate([block.mains for block in blocks])
    assert sorted(rows.tolist()) == list(range(len(district)))
    assert [block.number for block in blocks] == list(range(len(blocks)))
    for block in blocks:
        assert set(district[block.mains].tolist()) == {block.district}


def test_the_worst_comes_first_whatever_a_screen_is_ranked_by() -> None:
    figures = np.array([3.0, np.nan, 9.0, 5.0])
    screen = cast(Screen, SimpleNamespace(column=lambda _name: figures))
    assert rank_order(screen, "customers").tolist() == [2, 3, 0, 1]
    assert rank_order(screen, "least_pressure_mbar").tolist() == [0, 3, 2, 1]


def test_a_block_made_under_another_question_is_not_taken(tmp_path: Path) -> None:
    (block,) = split_blocks(np.zeros(2, dtype=np.int32))
    table = pa.Table.from_pylist([EMPTY_ROW | {"row": row} for row in (0, 1)], schema=SCHEMA)
    BlockFolder(tmp_path / "blocks", "one question", resume=False).keep(block, table)
    assert BlockFolder(tmp_path / "blocks", "one question", resume=True).read(block) is not None
    assert BlockFolder(tmp_path / "blocks", "another", resume=True).read(block) is None
