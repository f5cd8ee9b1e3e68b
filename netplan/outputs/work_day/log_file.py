"""The log of a day's work as a file: what it may hold, and reading it with everything checked.

Loads nothing large: a file of another kind is refused at once.
"""

from __future__ import annotations

import json
import re
from datetime import datetime
from itertools import pairwise
from pathlib import Path
from typing import Annotated, Any, Final, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, ValidationError

from netplan.core.errors import BadInputError, quoted, shown
from netplan.core.text_files import TooLargeError, text_of

__all__ = [
    "KNOWN_KINDS",
    "MOST_ENTRIES",
    "WORK_DAY_LOG",
    "AirEntry",
    "DoneEntry",
    "DropEntry",
    "Entry",
    "GasEntry",
    "LetByEntry",
    "MeterEntry",
    "NoteEntry",
    "ReadingEntry",
    "SealEntry",
    "SignedEntry",
    "WorkDayLog",
    "log_to_json",
    "read_log",
]

WORK_DAY_LOG: Final = "gas-netplan/work-day-log/1"
KNOWN_KINDS: Final = (WORK_DAY_LOG,)
"""Kinds of logs that can be recorded, told apart by `kind` in their header."""

MOST_BYTES: Final = 20_000_000
"""No day's log is as large as this (own) [bytes]."""
MOST_ENTRIES: Final = 50_000
"""No day's log has more entries (own)."""

_MOMENT: Final = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}[+-]\d\d:\d\d")


def _moment(text: str) -> str:
    if not _MOMENT.fullmatch(text):
        raise ValueError("is no time such as 2027-03-09T07:00:00.000+01:00")
    datetime.fromisoformat(text)
    return text


Moment = Annotated[str, AfterValidator(_moment)]
StepNumber = Annotated[int, Field(ge=1, le=100_000, strict=True)]
Id = Annotated[str, Field(min_length=1, max_length=1_000)]
Line = Annotated[str, Field(max_length=500)]
Name = Annotated[str, Field(min_length=1, max_length=80)]
Figure = Annotated[float, Field(ge=-1e6, le=1e6, allow_inf_nan=False, strict=True)]


class LogElement(BaseModel):
    """A part of a log: frozen; keys that are not known are refused."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class LogEntry(LogElement):
    """One thing that was done, typed or seen, at a time of the device's clock.

    `clock` is what the clock showed where it stood earlier than at the entry before.
    """

    at: Moment
    clock: Moment | None = None

    @property
    def time(self) -> datetime:
        """The moment, with the device's offset from UTC."""
        return datetime.fromisoformat(self.at)

    @property
    def local_time(self) -> datetime:
        """The moment as a clock at the place showed it."""
        return self.time.replace(tzinfo=None)

    @property
    def shown_time(self) -> datetime:
        """What the device's clock showed."""
        return datetime.fromisoformat(self.clock or self.at).replace(tzinfo=None)


class DoneEntry(LogEntry):
    """A step done, taken back, or left out with the reason."""

    what: Literal["done", "taken back", "left out"]
    step: StepNumber
    why: Line = ""


class SignedEntry(LogEntry):
    """A hold signed by name: the step is done with it."""

    what: Literal["signed"]
    step: StepNumber
    name: Name


class AirEntry(LogEntry):
    """The air temperature that readings are compared at from then on [°C]."""

    what: Literal["air"]
    air_temp_c: Figure


class ReadingEntry(LogEntry):
    """What a gauge reads at a step [mbar gauge], and what the page said of it."""

    what: Literal["reading"]
    step: StepNumber
    gauge: Id
    mbar: Figure
    air_temp_c: Figure | None = None
    expect_mbar: Figure | None = None
    verdict: Literal["abort low", "abort high", "outside band", "warning", "in band", "outside table"]


class LetByEntry(LogEntry):
    """What a let-by test shows: flow and the finest that the meter shows [l/min], pressure [mbar gauge]."""

    what: Literal["let-by"]
    step: StepNumber
    l_min: Figure | None = None
    mbar: Figure | None = None
    resolution_l_min: Figure | None = None


class DropEntry(LogEntry):
    """The fall of pressure along a bypass at its planned flow, of air or of gas [mbar]."""

    what: Literal["drop"]
    step: StepNumber
    of: Literal["air", "gas"]
    mbar: Figure


class GasEntry(LogEntry):
    """A share read at a vent or in a trench: gas or oxygen by volume, or of the lower flammable limit [%]."""

    what: Literal["gas"]
    step: StepNumber
    of: Literal["gas", "oxygen", "LFL"]
    percent: Figure


class MeterEntry(LogEntry):
    """A meter's state from then on."""

    what: Literal["meter"]
    meter: Id
    state: Literal["on", "off", "sealed", "purged", "relit", "no access"]


class SealEntry(LogEntry):
    """Seal number and isolation point of a meter."""

    what: Literal["seal"]
    meter: Id
    seal: Line = ""
    isolated_at: Line = ""


class NoteEntry(LogEntry):
    """A note, of a step or of the day."""

    what: Literal["note"]
    step: StepNumber | None = None
    text: Annotated[str, Field(min_length=1, max_length=500)]


Entry = Annotated[
    DoneEntry
    | SignedEntry
    | AirEntry
    | ReadingEntry
    | LetByEntry
    | DropEntry
    | GasEntry
    | MeterEntry
    | SealEntry
    | NoteEntry,
    Field(discriminator="what"),
]


class WorkDayLog(LogElement):
    """A day's log of one option of one plan, its entries in time order; `units` are those of the page."""

    kind: Literal["gas-netplan/work-day-log/1"]
    plan_sha256: Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]
    option: Annotated[int, Field(ge=1, le=1_000, strict=True)]
    units: Literal["metric", "us"] = "metric"
    work: Annotated[str, Field(max_length=10_000)] = ""
    exported: Moment
    entries: Annotated[tuple[Entry, ...], Field(max_length=MOST_ENTRIES)]


def read_log(path: Path) -> WorkDayLog:
    """Read a log.

    Parameters
    ----------
    path : Path

    Raises
    ------
    BadInputError
        When it cannot be read, is of a kind that is not known, or something in it is not as it must be.
    """
    data = _json_of(path)
    kind = data.get("kind") if isinstance(data, dict) else None
    if kind not in KNOWN_KINDS:
        raise BadInputError(
            f"{path}: is no log that can be recorded: kind is {quoted(kind)}; known kinds: "
            f"{', '.join(KNOWN_KINDS)}"
        )
    try:
        log = WorkDayLog.model_validate(data)
    except ValidationError as error:
        first = error.errors(include_url=False, include_context=False, include_input=False)[0]
        place = shown(".".join(str(part) for part in first["loc"])) or "log"
        raise BadInputError(f"{path}: {place}: {first['msg']}; export it again from work_day.html") from None
    times = [entry.time for entry in log.entries]
    for number, (before, after) in enumerate(pairwise(times), 2):
        if after < before:
            raise BadInputError(
                f"{path}: entries are not in time order at entry {number}; export it again from work_day.html"
            )
    return log


def _json_of(path: Path) -> Any:
    try:
        text = text_of(path, MOST_BYTES)
        return json.loads(text, parse_constant=_refuse)
    except OSError as error:
        raise BadInputError(f"{path}: cannot be read ({error.strerror}); check the path") from None
    except UnicodeDecodeError:
        raise BadInputError(f"{path}: is not UTF-8; give a log exported from work_day.html") from None
    except TooLargeError as error:
        raise BadInputError(f"{path}: {error}; give a log exported from work_day.html") from None
    except (ValueError, RecursionError) as error:
        raise BadInputError(
            f"{path}: is not JSON ({type(error).__name__}); give a log exported from work_day.html"
        ) from None


def _refuse(constant: str) -> float:
    raise ValueError(constant)


def log_to_json(log: WorkDayLog) -> str:
    """Return a log as text: what was read, in a fixed order, with one trailing newline."""
    data = log.model_dump(mode="json", exclude_unset=True)
    return json.dumps(data, indent=1, ensure_ascii=False, allow_nan=False) + "\n"
