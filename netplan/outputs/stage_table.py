"""The tables of a renewal in stages: what each stage takes, and on which day it is."""

from __future__ import annotations

import pandas as pd

from netplan.isolation import MINOR_PER_UNIT
from netplan.outputs.notices_csv import spreadsheet_safe
from netplan.staging import RenewalStage, Staging

__all__ = ["calendar_table", "stage_folder_name", "stage_table"]


def stage_folder_name(number: int) -> str:
    """Return the name of the plan folder of a stage, counted from 1."""
    return f"stage-{number}"


def stage_table(staging: Staging) -> pd.DataFrame:
    """Return one row a stage: its work, its option, who is off, what it shares and its burden.

    Lengths [m], gas [m³ at 15 °C, 101.325 kPa], money in the currency of the rules. `burden` is what the
    stage costs less what the stage before has paid for; `burden_alone` is that of its plan.
    """
    return pd.DataFrame([_row(number, stage) for number, stage in enumerate(staging.stages, 1)])


def _row(number: int, stage: RenewalStage) -> dict[str, object]:
    option = stage.option
    off = [one for one in option.customers if one.effect == "off"]
    work = "; ".join(f"{p.main_id}:{p.from_m:.3f}:{p.to_m:.3f}" for p in stage.parts)
    return {
        "stage": number,
        "from_m": round(stage.from_m, 3),
        "to_m": round(stage.to_m, 3),
        "length_m": round(stage.to_m - stage.from_m, 3),
        "work": spreadsheet_safe(work),
        "plan": stage_folder_name(number),
        "option": stage.rank,
        "stops": len(option.stops),
        "stops_shared_with_before": len(stage.sharing.stops),
        "stops_in_new_pipe": " ".join(f"{name}:{k}" for name, k in stage.in_new_pipe.items()),
        "bypasses": len(option.bypasses),
        "hoses": sum(one.parallel for one in option.bypasses),
        "hoses_moved_from_before": sum(one.hoses for one in stage.sharing.hoses),
        "opened_valves": len(option.opened_valves),
        "customers_off": len(off),
        "meters_off": stage.meters_off,
        "gas_volume_m3": option.vent.total_m3,
        "burden_alone": stage.alone_minor / MINOR_PER_UNIT,
        "shared": stage.sharing.saved_minor / MINOR_PER_UNIT,
        "burden": stage.burden_minor / MINOR_PER_UNIT,
    }


def calendar_table(staging: Staging) -> pd.DataFrame:
    """Return one row a stage: its day, its hours, and whom to tell.

    Without a start the days are counted, and clocks are those of the rules' day; working days are Monday to
    Friday.
    """
    apart = staging.rules.staging.days_apart
    rows = []
    for number, stage in enumerate(staging.stages, 1):
        off = [one for one in stage.option.customers if one.effect == "off"]
        rows.append(
            {
                "stage": number,
                "working_day": 1 + (number - 1) * apart,
                "date": "" if stage.start is None else stage.start.date().isoformat(),
                "weekday": "" if stage.start is None else f"{stage.start:%A}",
                "start": stage.result.plan.conditions.start or "",
                "off_from": min((one.off_from for one in off if one.off_from), default=""),
                "all_on_by": max((one.on_by for one in off if one.on_by), default=""),
                "meters_off": stage.meters_off,
                "priority_off": sum(bool(one.priority) for one in off),
                "notices": f"{stage_folder_name(number)}/notices.csv",
            }
        )
    return pd.DataFrame(rows)
