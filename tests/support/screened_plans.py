"""Rows of a screen in full beside plans of the same mains, each made anew on a network solved for it alone."""

from __future__ import annotations

from collections import Counter
from datetime import datetime
from typing import Any

from netplan.core.errors import BadInputError, NoPlanError, NotSolvedError
from netplan.network.model import Network
from netplan.network.work_section import WorkPart
from netplan.planning.make_plan import PlanRequest, make_plan
from netplan.rules import Rules
from netplan.screening import ScreenSettings
from netplan.screening.screen_settings import span_of

BY_THE_CLOCK = "by the clock"


def planned_row(network: Network, rules: Rules, settings: ScreenSettings, main: int) -> dict[str, Any]:
    """Return what a plan of the work on a main says, by the names of the screen's columns."""
    part = WorkPart(network.pipes.id[main], *span_of(network.pipes.length_m.item(main), settings))
    start: datetime | None = settings.start
    request = PlanRequest(
        network,
        (part,),
        rules,
        start=start,
        hours=settings.hours,
        air_temp_c=settings.air_temp_c,
        options=1,
        weather=False,
    )
    try:
        plan = make_plan(request, lift_orders=False).plan.model_dump(mode="json", by_alias=True)
    except NoPlanError as error:
        if BY_THE_CLOCK in " ".join(error.reasons):
            raise AssertionError("the machine is too slow for this comparison") from error
        return {"plan_outcome": "not settled" if error.cut_short else "no plan possible", "said": str(error)}
    except (BadInputError, NotSolvedError) as error:
        return {"plan_outcome": "not settled", "said": str(error)}
    option = plan["options"][0]
    assert BY_THE_CLOCK not in option["proof"]["reason"]
    off = [one for one in option["customers"] if one["effect"] == "off"]
    return {
        "plan_outcome": "plan stands",
        "plan_burden": option["burden"],
        "plan_burden_bound": option["proof"]["lower_bound"],
        "plan_proven": {True: "yes", False: "no"}[option["proof"]["optimal"]],
        "plan_customers": len({one["id"] for one in off}),
        "plan_meters": sum(one["meters"] for one in off),
        "plan_stops": len(option["stops"]),
        "methods": Counter(one["method"] for one in option["stops"]),
        "plan_bypasses": sum(one["kind"] == "bypass" for one in option["bypasses"]),
        "plan_hoses": sum(one["kind"] == "hose" for one in option["bypasses"]),
        "plan_feeds_m": sum(one["length_m"] for one in option["bypasses"]),
        "bores": [(one["parallel"], one["bore_mm"]) for one in option["bypasses"]],
        "opened": [one["valve_id"] for one in option["opened_valves"]],
        "plan_least_pressure_mbar": option["pressures"]["after"]["least_mbar"],
        "plan_least_pressure_at": option["pressures"]["after"]["at"],
        "plan_gas_back_h": option["timeline"]["gas_back_min"] / 60,
        "plan_relit_h": None
        if option["timeline"]["relit_min"] is None
        else option["timeline"]["relit_min"] / 60,
    }


def check_against_plan(row: dict[str, Any], plan: dict[str, Any]) -> None:
    """Check every column ``plan_*`` of a row against what a plan says."""
    name, expected = row["main_id"], dict(plan)
    if "said" in expected:
        # Another order of reasons is another answer: the first one is the plan's own line.
        assert row["plan_reason"].startswith(expected.pop("said")), (name, row["plan_reason"], plan)
        assert row["plan_outcome"] == expected["plan_outcome"], (name, row, plan)
        assert row["plan_burden"] is None
        return
    assert row["plan_reason"] == ""
    methods, bores, opened = (expected.pop(key) for key in ("methods", "bores", "opened"))
    counts = (text.split(" ", 1) for text in row["plan_stop_methods"].split(", "))
    assert {method: int(count) for count, method in counts} == dict(methods), name
    sizes = [f"{bore:g} mm" if count == 1 else f"{count} × {bore:g} mm" for count, bore in bores]
    assert row["plan_feed_bores"] == "; ".join(sizes), name
    assert row["plan_opened_valves"] == "; ".join(opened), name
    assert row["plan_opened"] == len(opened), name
    for key, value in expected.items():
        if key in ("plan_gas_back_h", "plan_relit_h", "plan_feeds_m") and value is not None:
            # Rounded for the table: half of its last digit.
            assert abs(row[key] - value) <= (0.051 if key == "plan_feeds_m" else 0.0051), (name, key)
        else:
            assert row[key] == value, (name, key, row[key], value)
