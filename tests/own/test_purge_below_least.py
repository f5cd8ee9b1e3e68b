"""Gas back in below its least flow: warned of with nitrogen first, or refused by rule; worked out apart.

Least flow and the flow to be had are worked out here from textbook formulas, bores and pressures; the program's
own purge figures are not used.
"""

from __future__ import annotations

import math
import re
from pathlib import Path
from typing import Any

import pytest

import netplan
from netplan.core.errors import NoPlanError
from netplan.explain.figure_index import figures_to_explain
from netplan.network.build import build_network
from netplan.outputs.plan_folder import write_plan_folder
from netplan.outputs.reader_choices import Choices
from netplan.planfile.model import Option
from netplan.planning.make_plan import PlanRequest, make_plan
from netplan.procedure import Stage
from netplan.reference.pipe_sizes import wall_mm
from netplan.rules import read_rules
from tests.support.station_street import OUTLET_M, WORK, at_outlet, street_layers, street_plan

GROUND_K, AIR_PA = 283.15, 101_325.0
GAS_KG_PER_M3 = 16.043e-3 * AIR_PA / (8.314462618 * GROUND_K)
AIR_KG_PER_M3 = 28.965e-3 * AIR_PA / (8.314462618 * GROUND_K)
HOSE_M, HOSE_LOSS, STACK_M, STACK_LOSS = 5.0, 6.0, 3.0, 7.5
WIDE, NARROW = 315.0, 125.0


def _bore_m(od_mm: float) -> float:
    return (od_mm - 2.0 * wall_mm(od_mm, 11.0).wall_mm) / 1000.0


def _least_m3_per_s(od_mm: float) -> float:
    bore = _bore_m(od_mm)
    return max(0.6, 0.5 * math.sqrt(9.80665 * bore)) * math.pi / 4.0 * bore**2


def _factor(reynolds: float, roughness: float) -> float:
    """Return the friction factor by Haaland's formula."""
    return (-1.8 * math.log10((roughness / 3.7) ** 1.11 + 6.9 / reynolds)) ** -2


def _flow_m3_per_s(hose_bore_m: float, stack_bore_m: float, pressure_pa: float) -> float:
    """Return the actual flow through hose and stack into the air, the main's own loss left out."""

    def lost(flow: float) -> float:
        total = 0.0
        for length, bore, loss, density, viscosity in (
            (HOSE_M, hose_bore_m, HOSE_LOSS, GAS_KG_PER_M3, 1.07e-5),
            (STACK_M, stack_bore_m, STACK_LOSS, AIR_KG_PER_M3, 1.77e-5),
        ):
            speed = flow / (math.pi / 4.0 * bore**2)
            factor = _factor(density * speed * bore / viscosity, 1e-5 / bore)
            total += (factor * length / bore + loss) * density * speed**2 / 2.0
        return total

    low, high = 1e-6, 1.0
    for _ in range(80):
        middle = math.sqrt(low * high)
        low, high = (middle, high) if lost(middle) < pressure_pa else (low, middle)
    return low


def _tapped_at(bore_mm: float) -> dict[str, Any]:
    """Return rules by which every outlet, hose and stack is of one bore [mm], 25 mm stacks beside it."""
    nominal = {50.0: 50.0, 76.0: 80.0}[bore_mm]
    roles = ("gauge_mm", "vent_mm", "zone_vent_mm", "bypass_mm", "bag_mm")
    table = {"od_min_mm": 20.0, "od_max_mm": 2000.0, **dict.fromkeys(roles, nominal)}
    return {
        "outlet": [table],
        "bypass": {"tapping_bore_mm": bore_mm, "bores_mm": [bore_mm]},
        "purge": {"stack_bores_mm": [25.0, bore_mm], "below_least": "warn"},
    }


def _warning(option: Option) -> list[str]:
    return [line for line in option.warnings if line.startswith("gas back in")]


@pytest.mark.parametrize("od_mm", [WIDE, 250.0, 200.0, NARROW])
@pytest.mark.parametrize("tapping_mm", [50.0, 76.0])
def test_warned_of_exactly_where_the_least_flow_is_not_to_be_had(od_mm: float, tapping_mm: float) -> None:
    option = street_plan(street_layers(od_mm), _tapped_at(tapping_mm)).options[0]
    (vent,) = [point for point in option.purge.points if point.role == "vent"]
    per_hour = 3600.0 * 288.15 / GROUND_K
    least = _least_m3_per_s(od_mm)
    to_be_had = max(
        _flow_m3_per_s(tapping_mm / 1000.0, tapping_mm / 1000.0, mbar * 100.0) for mbar in (31.0, 28.0)
    )
    assert abs(to_be_had / least - 1.0) > 0.05, "no case on the brink: the two formulas differ by 2 %"
    is_short = to_be_had < least
    assert vent.least_m3h == pytest.approx(least * per_hour, rel=3e-3)
    if is_short:
        assert vent.flow_in_m3h == pytest.approx(to_be_had * per_hour, rel=0.03)
    else:
        assert vent.flow_in_m3h is not None
        assert vent.least_m3h is not None
        assert vent.flow_in_m3h >= vent.least_m3h - 0.01
    assert bool(_warning(option)) == is_short
    assert option.purge.reached == (not is_short)
    assert (vent.slug_m3 is not None) == is_short
    assert (Stage.NITROGEN_IN in {step.stage for step in option.steps}) == is_short


def test_the_warning_and_the_steps_say_what_is_possible() -> None:
    option = street_plan(street_layers(WIDE), _tapped_at(50.0)).options[0]
    (vent,) = [point for point in option.purge.points if point.role == "vent"]
    far = next(stop for stop in option.stops if stop.id != at_outlet(option).id)
    # The mains of the zone, two and a half times (1.5 to 2.5 times the volume displaced is the published range).
    volume = math.pi / 4.0 * _bore_m(WIDE) ** 2 * (far.chainage_m - OUTLET_M)
    assert vent.slug_m3 == pytest.approx(2.5 * volume, rel=1e-3)
    (line,) = _warning(option)
    assert vent.slug_m3 is not None
    assert f"{math.ceil(10 * vent.slug_m3) / 10:.1f} m³ in the pipe" in line
    flow = vent.flow_in_m3h or math.nan
    assert f"{math.floor(10 * flow) / 10:.1f} m³/h of" in line
    nitrogen, shut_off = [step for step in option.steps if step.stage == Stage.NITROGEN_IN]
    (gas,) = [step for step in option.steps if step.stage == Stage.PURGE_IN]
    assert nitrogen.n < shut_off.n < gas.n
    assert "Shut the nitrogen off" in shut_off.does
    assert nitrogen.hold
    assert "oxygen" in nitrogen.does
    assert vent.id in nitrogen.uses
    assert "at the flow available" in gas.does
    assert "not slower than the least flow" not in gas.does
    assert "oxygen" not in gas.does


def test_the_nitrogen_is_explained(tmp_path: Path) -> None:
    network = build_network(street_layers(WIDE), strict=False)
    result = make_plan(
        PlanRequest(network, WORK, read_rules(None, _tapped_at(50.0)), weather=False, options=1)
    )
    folder = write_plan_folder(result, tmp_path / "plan", choices=Choices(papers=False))
    sheet = netplan.explain_figure(folder, "purge-nitrogen")
    stated = sum(point.slug_m3 or 0.0 for point in result.plan.options[0].purge.points)
    assert re.search(rf"^Result {stated:.2f}", sheet, re.MULTILINE)
    assert "purge-nitrogen" in {figure.name for figure in figures_to_explain(result.plan.options[0])}


def test_the_rule_refuses_what_cannot_reach_its_least_flow() -> None:
    refuse, wider = _tapped_at(50.0), _tapped_at(76.0)
    for rules in (refuse, wider):
        rules["purge"]["below_least"] = "refuse"
    with pytest.raises(NoPlanError) as caught:
        street_plan(street_layers(WIDE), refuse)
    told = " ".join(caught.value.reasons)
    assert "m³/h available for the purge in" in told
    assert "rule purge.below_least" in told
    option = street_plan(street_layers(WIDE), wider).options[0]
    assert option.purge.reached
    assert not _warning(option)


def test_refusing_leaves_the_other_options_as_they_are() -> None:
    warned = street_plan(street_layers(NARROW), options=3).options
    refused = street_plan(street_layers(NARROW), {"purge": {"below_least": "refuse"}}, options=3).options
    assert all(option.purge.reached for option in warned)
    assert [option.burden for option in warned] == [option.burden for option in refused]


def test_gas_whose_figures_do_not_hold_is_neither_warned_of_nor_refused() -> None:
    rules: dict[str, Any] = {
        "gas": {"composition": {"methane": 0.7, "hydrogen": 0.3}},
        "purge": {"below_least": "refuse"},
    }
    option = street_plan(street_layers(WIDE), rules).options[0]
    assert option.purge.reached is None
    assert not _warning(option)
    assert all(point.slug_m3 is None for point in option.purge.points)
