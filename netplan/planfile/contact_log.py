"""contacts_N.json: who was told, when, by whom and how, as a notice team returned it beside its plan."""

from __future__ import annotations

import json
import re
from datetime import date
from pathlib import Path
from typing import Annotated, Any, Final, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Field

from netplan.core.errors import BadInputError
from netplan.core.text_files import TooLargeError, text_of
from netplan.planfile.json_files import model_from_json, published_schema

__all__ = [
    "CONTACTS_NAME",
    "CONTACTS_STEM",
    "ContactEntry",
    "ContactLog",
    "contact_logs_of",
    "contacts_schema",
    "contacts_to_json",
]

CONTACTS_NAME: Final = "netplan/contacts/1"
CONTACTS_STEM: Final = "contacts_"
"""How names of recorded contact logs begin in a plan folder; a number follows."""

_MOST_BYTES: Final = 50_000_000
"""No contact log is as large as this (own) [bytes]."""
_NUMBERED: Final = re.compile(rf"{CONTACTS_STEM}([1-9][0-9]{{0,5}})\.json")


def _day(text: str) -> str:
    if date.fromisoformat(text).isoformat() != text:
        raise ValueError("is no day such as 2027-03-09")
    return text


Day = Annotated[str, AfterValidator(_day)]
Short = Annotated[str, Field(max_length=500)]


class ContactElement(BaseModel):
    """A part of a contact log: frozen; keys that are not known are refused."""

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True)


class ContactEntry(ContactElement):
    """What a row of the returned list says of a meter point.

    A row that says nothing is kept too, with `told_on` null and `no_access` false: it was on the list, and
    nobody had told them when the list came back.
    """

    meter_point: Annotated[str, Field(min_length=1, max_length=1_000)]
    told_on: Day | None = Field(default=None, description="day they were told; null: not told")
    told_by: Short = Field(default="", description="who told them")
    how: Short = Field(default="", description="how: by letter, at the door, by telephone")
    no_access: bool = Field(default=False, description="nobody met at the door: the door is open still")
    no_access_note: Short = Field(default="", description="what the cell of no access said")
    where: Short = Field(default="", description="sheet and row of the returned list")

    @property
    def told(self) -> bool:
        """Whether somebody was told: a day, and nobody wrote that there was no access."""
        return self.told_on is not None and not self.no_access

    @property
    def is_blank(self) -> bool:
        """Whether the row said nothing."""
        return self.told_on is None and not self.no_access


class ContactLog(ContactElement):
    """A returned list of one plan, its rows in their order."""

    schema_: Literal["netplan/contacts/1"] = Field(alias="schema", default=CONTACTS_NAME)
    plan_sha256: Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")] = Field(
        description="digest of what the plan says, its provenance apart"
    )
    revision: Annotated[str, Field(max_length=20)] = Field(description="revision code of the plan")
    source: Short = Field(description="name of the file that came back")
    entries: Annotated[tuple[ContactEntry, ...], Field(max_length=500_000)]


def contacts_schema() -> dict[str, Any]:
    """Return the JSON Schema (draft 2020-12) of contacts_N.json."""
    return published_schema(ContactLog, CONTACTS_NAME)


def contacts_to_json(log: ContactLog) -> str:
    """Return a contact log as text: keys in a fixed order, one trailing newline."""
    data = log.model_dump(mode="json", by_alias=True)
    return json.dumps(data, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def contact_logs_of(folder: Path, plan_sha256: str) -> tuple[tuple[str, ContactLog], ...]:
    """Return the contact logs of a plan folder with their names, by number; empty where there is none.

    Parameters
    ----------
    folder : Path
    plan_sha256 : str
        Digest of the folder's plan.

    Raises
    ------
    BadInputError
        When one cannot be read, is no contact log, or is of another plan.
    """
    found = []
    for number, path in sorted(_numbered(folder)):
        log = _read(path)
        if log.plan_sha256 != plan_sha256:
            raise BadInputError(
                f"{path}: is the contact log of another plan ({log.plan_sha256[:8]}; the one here is "
                f"{plan_sha256[:8]}); move it to the folder of its plan"
            )
        found.append((number, path.name, log))
    return tuple((name, log) for _, name, log in found)


def _numbered(folder: Path) -> list[tuple[int, Path]]:
    paths = ((_NUMBERED.fullmatch(path.name), path) for path in folder.glob(f"{CONTACTS_STEM}*.json"))
    return [(int(match[1]), path) for match, path in paths if match is not None]


def _read(path: Path) -> ContactLog:
    try:
        text = text_of(path, _MOST_BYTES, plain=True)
    except OSError as error:
        raise BadInputError(f"{path}: cannot be read ({error.strerror}); check the file") from None
    except UnicodeDecodeError:
        raise BadInputError(f"{path}: is not UTF-8; record the list again") from None
    except TooLargeError as error:
        raise BadInputError(f"{path}: {error}; record the list again") from None
    return model_from_json(
        text, ContactLog, CONTACTS_NAME, str(path), no_json="record the list again", other="record it again"
    )
