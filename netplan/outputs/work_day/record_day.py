"""Recording a day's log in the folder of its plan: checked, written beside the plan, set against it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from netplan.core.errors import BadInputError, quoted
from netplan.outputs.atomic_writes import write_numbered_file
from netplan.outputs.output_folders import RECORDED_STEM
from netplan.outputs.work_day.day_review import DayReview, review_day
from netplan.outputs.work_day.log_file import ReadingEntry, WorkDayLog, log_to_json
from netplan.planfile.model import Option, Plan
from netplan.planfile.plan_json import plan_digest, read_plan

__all__ = ["RecordedDay", "record_day"]


@dataclass(frozen=True, slots=True)
class RecordedDay:
    """A day's log as it was recorded.

    Parameters
    ----------
    path : Path
        The new file in the plan folder.
    plan : Plan
    review : DayReview
        The log against the plan.
    """

    path: Path
    plan: Plan
    review: DayReview


def record_day(folder: Path, log: WorkDayLog, where: str) -> RecordedDay:
    """Write a log into the folder of its plan as a new file, and set it against the plan.

    Parameters
    ----------
    folder : Path
        The plan folder; no file that is in it is changed.
    log : WorkDayLog
    where : str
        Where the log comes from, for messages.

    Raises
    ------
    BadInputError
        When the log is of another plan, names what its option does not have, or cannot be written.
    """
    plan = read_plan(folder)
    digest = plan_digest(plan)
    if log.plan_sha256 != digest:
        raise BadInputError(
            f"{where}: is the log of another plan ({log.plan_sha256[:8]}; the one in {folder} is "
            f"{digest[:8]}); give the folder that its work_day.html is from"
        )
    option = next((one for one in plan.options if one.rank == log.option), None)
    if option is None:
        raise BadInputError(
            f"{where}: option {log.option}: the plan has options 1 to {len(plan.options)}; "
            "export it again from work_day.html"
        )
    _check_names(option, log, where)
    review = review_day(plan, option, log)
    return RecordedDay(write_numbered_file(folder, RECORDED_STEM, ".json", log_to_json(log)), plan, review)


def _check_names(option: Option, log: WorkDayLog, where: str) -> None:
    """Refuse entries that name a step, gauge or meter that the option does not have."""
    steps = {step.n: {reading.gauge_id for reading in step.readings} for step in option.steps}
    meters = {customer.id for customer in option.customers if customer.effect == "off"}
    for number, entry in enumerate(log.entries, 1):
        step, meter = getattr(entry, "step", None), getattr(entry, "meter", None)
        missing = ""
        if step is not None and step not in steps:
            missing = f"step {step}"
        elif isinstance(entry, ReadingEntry) and entry.gauge not in steps[entry.step]:
            missing = f"gauge {quoted(entry.gauge)} at step {entry.step}"
        elif meter is not None and meter not in meters:
            missing = f"meter {quoted(meter)} that goes off"
        if missing:
            raise BadInputError(
                f"{where}: entry {number}: option {option.rank} has no {missing}; "
                "export it again from work_day.html"
            )
