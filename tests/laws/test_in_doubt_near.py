"""Customers in doubt are the same whether a plan is made in the vicinity of the work or in the whole network."""

from __future__ import annotations

import contextlib
from typing import Any

import geopandas
import numpy as np
import pytest
import shapely

from netplan.core.errors import NoPlanError
from netplan.network.build import build_network
from netplan.network.model import Network
from netplan.network.work_section import WorkPart
from netplan.planfile.model import InDoubt
from netplan.planfile.plan_result import PlanResult
from netplan.planning import subnetwork_context as near
from netplan.planning.make_plan import PlanRequest, make_plan
from netplan.rules import read_rules
from tests.support.varied_city import varied_layers

PIPES, FIRST_NODES = 25_000, 10_000


def doubtful_grid() -> dict[str, Any]:
    """Return a street grid in which services end short, ids are missing and customers lie on no pipe."""
    frames, rng = dict(varied_layers(PIPES, seed=5)), np.random.default_rng(3)
    services, customers = frames["services"].copy(), frames["customers"].copy()
    lines = services.geometry.to_numpy().copy()
    for row in np.flatnonzero(rng.random(len(services)) < 0.03).tolist():
        length = lines[row].length
        lines[row] = shapely.ops.substring(lines[row], min(rng.choice([0.5, 3.0]), length / 2), length)
    services = services.set_geometry(geopandas.GeoSeries(lines, crs=services.crs, index=services.index))
    given = customers["service_id"].to_numpy(dtype=object).copy()
    kind = rng.random(len(customers))
    given[kind < 0.1] = None
    given[(kind >= 0.1) & (kind < 0.2)] += ";gone"
    moved = customers.geometry.to_numpy().copy()
    for row in np.flatnonzero(kind < 0.02).tolist():
        moved[row] = shapely.affinity.translate(moved[row], 6.0, 6.0)
    customers["service_id"] = given
    customers["priority"] = ["hospital" if share < 0.05 else None for share in rng.random(len(customers))]
    customers["priority_note"] = "ring twice"
    customers = customers.set_geometry(geopandas.GeoSeries(moved, crs=customers.crs, index=customers.index))
    frames |= {"services": services, "customers": customers}
    return frames


def from_the_middle(network: Network) -> list[int]:
    """Return some mains, from the middle of the network outwards."""
    pipes = network.pipes
    begin = pipes.coords_m[pipes.coord_start[: pipes.n_mains]]
    order = np.hypot(*(begin - begin.mean(axis=0)).T).argsort(kind="stable")
    return [int(row) for row in order[:200:10]]


@pytest.fixture(scope="module")
def network() -> Network:
    return build_network(doubtful_grid(), strict=False)


def planned_near(network: Network) -> tuple[PlanRequest, PlanResult]:
    """Return a request whose plan is made in a vicinity, and that plan."""
    for row in from_the_middle(network):
        middle = float(network.pipes.length_m[row]) / 2
        work = WorkPart(network.pipes.id[row], middle - 2.0, middle + 2.0)
        request = PlanRequest(network, (work,), read_rules(None), options=2, weather=False)
        with contextlib.suppress(NoPlanError):
            found = make_plan(request)
            if len(found.network.nodes) < len(network.nodes):
                return request, found
    pytest.fail("no section is planned near by")


def test_near_by_and_in_the_whole(monkeypatch: pytest.MonkeyPatch, network: Network) -> None:
    monkeypatch.setattr(near, "FIRST_NODES", FIRST_NODES)
    request, found = planned_near(network)
    monkeypatch.setattr(near, "FIRST_NODES", 10**9)
    whole = make_plan(request)
    assert len(whole.network.nodes) == len(network.nodes)
    rows: list[InDoubt] = []
    for one, other in zip(whole.plan.options, found.plan.options, strict=True):
        assert one.in_doubt == other.in_doubt
        assert one.warnings == other.warnings
        assert one.steps == other.steps
        rows.extend(one.in_doubt)
    assert whole.notes_in_doubt == found.notes_in_doubt
    assert set(whole.notes_in_doubt) == {row.id for row in rows if row.priority}
    why = " ".join(row.why for row in rows)
    assert "no pipe" in why
    assert "no way for gas" in why
    within = set(found.network.customers.id.numpy().tolist())
    assert {row.id for row in rows} - within, "those on no pipe are in no vicinity"
