"""What the folder of a superseded plan says: by which plan, and where that one was written."""

from __future__ import annotations

from pathlib import Path
from typing import Any, Final, Literal

from pydantic import ConfigDict, Field

from netplan.core.errors import BadInputError
from netplan.core.text_files import TooLargeError, text_of
from netplan.planfile.json_files import model_from_json, published_schema
from netplan.planfile.model.plan_inputs import PlanElement

__all__ = ["SUPERSEDED_FILE", "Superseded", "read_superseded", "superseded_schema"]

SUPERSEDED_FILE: Final = "superseded.json"
"""Its name in the folder of the superseded plan; there is at most one."""

_SCHEMA: Final = "netplan/superseded/1"
_MOST_BYTES: Final = 100_000


class Superseded(PlanElement):
    """The plan that stands in for the one of this folder, whose papers are void."""

    schema_: Literal["netplan/superseded/1"] = Field(alias="schema", default=_SCHEMA)
    revision: str = Field(description="revision code of the plan of this folder")
    by_revision: str = Field(description="revision code of the plan that supersedes it")
    by_sha256: str = Field(description="digest of what that plan says, provenance apart")
    by_folder: str = Field(description="where that plan was written, as it was then")
    by_start: str | None = Field(default=None, description="start of that plan's window, ISO 8601 local time")

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True)

    @property
    def words(self) -> str:
        """By what it is superseded, in words."""
        return f"superseded by plan {self.by_revision} ({self.by_folder})"


def superseded_schema() -> dict[str, Any]:
    """Return the JSON Schema (draft 2020-12) of superseded.json."""
    return published_schema(Superseded, _SCHEMA)


def read_superseded(folder: Path) -> Superseded | None:
    """Return what supersedes the plan of a folder; None where nothing does, as far as the folder knows.

    Raises
    ------
    BadInputError
        When the file is there and cannot be read.
    """
    path = folder / SUPERSEDED_FILE
    try:
        text = text_of(path, _MOST_BYTES, plain=True)
    except FileNotFoundError:
        return None
    except (OSError, UnicodeDecodeError, TooLargeError) as error:
        raise BadInputError(f"{path}: cannot be read ({error}); correct or remove it") from None
    return model_from_json(
        text,
        Superseded,
        _SCHEMA,
        str(path),
        no_json="correct or remove it",
        other="plan again with --replaces",
    )
