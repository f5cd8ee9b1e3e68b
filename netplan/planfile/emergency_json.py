"""The published JSON Schema of emergency.json, and reading and writing answers by it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any, Final

from pydantic import ValidationError

from netplan.core.errors import BadInputError, quoted, shown
from netplan.core.text_files import TooLargeError, text_of
from netplan.planfile.emergency_answer import EMERGENCY_SCHEMA_NAME, EmergencyAnswer

__all__ = ["EMERGENCY_JSON", "emergency_schema", "emergency_to_json", "read_emergency"]

EMERGENCY_JSON: Final = "emergency.json"
MOST_BYTES = 200_000_000
"""No answer is as large as this (own) [bytes]."""


def emergency_schema() -> dict[str, Any]:
    """Return the JSON Schema (draft 2020-12) of emergency.json."""
    schema = EmergencyAnswer.model_json_schema(by_alias=True, mode="serialization")
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": f"urn:gas-netplan:{EMERGENCY_SCHEMA_NAME}",
        **schema,
    }


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
        data = json.loads(text_of(path, MOST_BYTES))
    except TooLargeError as error:
        raise BadInputError(f"{path}: {error}; give a new --out") from None
    except (OSError, ValueError, RecursionError) as error:
        raise BadInputError(f"{path}: is not JSON ({type(error).__name__}); give a new --out") from None
    schema = data.get("schema") if isinstance(data, dict) else None
    if schema != EMERGENCY_SCHEMA_NAME:
        raise BadInputError(
            f"{path}: schema is {quoted(schema)}, not {EMERGENCY_SCHEMA_NAME!r}; give a new --out"
        )
    try:
        return EmergencyAnswer.model_validate(data)
    except ValidationError as error:
        first = error.errors(include_url=False, include_context=False)[0]
        place = shown(".".join(str(part) for part in first["loc"]))
        raise BadInputError(f"{path}: {place}: {first['msg']}; give a new --out") from None
