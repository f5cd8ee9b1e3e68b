"""Logs of a day's work: recording one in the folder of its plan."""

from __future__ import annotations

from pathlib import Path

from netplan.outputs.work_day.log_file import read_log
from netplan.outputs.work_day.record_day import RecordedDay, record_day

__all__ = ["record_log"]


def record_log(folder: str | Path, log: str | Path) -> RecordedDay:
    """Keep the log of a day's work in its plan folder as a new file, and set it against the plan.

    Parameters
    ----------
    folder : str or Path
        A plan folder; nothing that is in it is changed.
    log : str or Path
        A log exported from the folder's work_day.html.

    Returns
    -------
    RecordedDay
        Path of the new file, the plan, and the review: steps done, late, skipped and out of order, holds
        without a signature, readings not in band [mbar gauge], meters not closed, minutes of each stage.

    Raises
    ------
    BadInputError
        When the folder holds no plan, the log is of another plan or kind, or something in it is not right.
    """
    return record_day(Path(folder), read_log(Path(log)), str(log))
