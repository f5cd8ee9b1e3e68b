"""The published JSON Schema of emergency.json, and reading and writing answers by it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any, Final

from netplan.core.errors import BadInputError
from netplan.core.text_files import TooLargeError, text_of
from netplan.planfile.emergency_answer import EMERGENCY_SCHEMA_NAME, EmergencyAnswer
from netplan.planfile.json_files import model_from_json, published_schema

__all__ = ["EMERGENCY_JSON", "emergency_schema", "emergency_to_json", "read_emergency"]

EMERGENCY_JSON: Final = "emergency.json"
MOST_BYTES = 200_000_000
"""No answer is as large as this (own) [bytes]."""
_NEW_OUT: Final = "give a new --out"


def emergency_schema() -> dict[str, Any]:
    """Return the JSON Schema (draft 2020-12) of emergency.json."""
    return published_schema(EmergencyAnswer, EMERGENCY_SCHEMA_NAME)


def emergency_to_json(answer: EmergencyAnswer) -> str:
    """Return emergency.json as text: keys in a fixed order, `solved` absent until solved."""
    left_out = {"solved", "conditions"} if answer.solved is None else None
    data = answer.model_dump(mode="json", by_alias=True, exclude=left_out)
    return json.dumps(data, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def read_emergency(folder: Path) -> EmergencyAnswer | None:
    """Return the answer kept in a folder; None where there is none yet.

    Raises
    ------
    BadInputError
        When what is there is no answer of this schema.
    """
    path = folder / EMERGENCY_JSON
    if not path.exists():
        return None
    try:
        text = text_of(path, MOST_BYTES)
    except TooLargeError as error:
        raise BadInputError(f"{path}: {error}; {_NEW_OUT}") from None
    except (OSError, ValueError) as error:
        raise BadInputError(f"{path}: is not JSON ({type(error).__name__}); {_NEW_OUT}") from None
    return model_from_json(
        text, EmergencyAnswer, EMERGENCY_SCHEMA_NAME, str(path), no_json=_NEW_OUT, other=_NEW_OUT
    )
