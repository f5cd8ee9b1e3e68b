"""The published JSON Schema of plan.json, and reading and writing plans by it."""

from __future__ import annotations

import hashlib
import json
import weakref
from pathlib import Path
from typing import Any, Final

from netplan.core.errors import BadInputError
from netplan.core.text_files import TooLargeError, text_of
from netplan.planfile.json_files import model_from_json, published_schema
from netplan.planfile.model import SCHEMA_NAME, Option, Plan

__all__ = ["option_of_rank", "plan_digest", "plan_from_json", "plan_schema", "plan_to_json", "read_plan"]

MOST_BYTES = 200_000_000
"""No plan is as large as this (own) [bytes]."""


_DIGESTS: Final[dict[int, tuple[weakref.ref[Plan], str]]] = {}
"""Digests of the plans in memory, by identity."""


def plan_schema() -> dict[str, Any]:
    """Return the JSON Schema (draft 2020-12) of plan.json; ``digits`` says how floats are rounded."""
    return published_schema(Plan, SCHEMA_NAME)


def plan_to_json(plan: Plan, *, provenance: bool = True) -> str:
    """Return plan.json as text: keys in a fixed order, one trailing newline.

    Without provenance it is the form two plans are compared in.
    """
    data = plan.model_dump(mode="json", by_alias=True, exclude=None if provenance else {"provenance"})
    return json.dumps(data, indent=1, ensure_ascii=False, allow_nan=False, sort_keys=False) + "\n"


def plan_digest(plan: Plan) -> str:
    """Return the SHA-256 of what a plan says, its provenance apart, as 64 hex digits.

    Fields at their defaults do not count, so that a version that knows more of them finds the same digest.
    A plan does not change: every paper asks for its digest, and it is worked out once.
    """
    known = _DIGESTS.get(id(plan))
    if known is not None and known[0]() is plan:
        return known[1]
    digest = _digest(plan)
    place = id(plan)
    _DIGESTS[place] = (weakref.ref(plan, lambda _: _DIGESTS.pop(place, None)), digest)
    return digest


def _digest(plan: Plan) -> str:
    data = plan.model_dump(mode="json", by_alias=True, exclude={"provenance"}, exclude_defaults=True)
    text = json.dumps(data, ensure_ascii=False, allow_nan=False, sort_keys=True, separators=(",", ":"))
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()


def plan_from_json(text: str, where: str) -> Plan:
    """Read a plan.

    Raises
    ------
    BadInputError
        When the text is no JSON, or no plan of this schema.
    """
    return model_from_json(
        text, Plan, SCHEMA_NAME, where, no_json="give a plan folder of gas-netplan", other="plan again"
    )


def read_plan(folder: Path) -> Plan:
    """Read the plan of a plan folder.

    Parameters
    ----------
    folder : Path
        The folder; only plan.json in it is read.

    Raises
    ------
    BadInputError
        When there is no plan.json in it, or it is not a plan.
    """
    path = folder / "plan.json"
    try:
        text = text_of(path, MOST_BYTES, plain=True)
    except OSError as error:
        raise BadInputError(f"{path}: cannot be read ({error.strerror}); give a plan folder") from None
    except UnicodeDecodeError:
        raise BadInputError(f"{path}: is not UTF-8; give a plan folder of gas-netplan") from None
    except TooLargeError as error:
        raise BadInputError(f"{path}: {error}; give a plan folder of gas-netplan") from None
    return plan_from_json(text, str(path))


def option_of_rank(plan: Plan, rank: int) -> Option:
    """Return the option of a rank.

    Raises
    ------
    BadInputError
        When the plan has no such option.
    """
    for option in plan.options:
        if option.rank == rank:
            return option
    raise BadInputError(f"option {rank}: the plan has options 1 to {len(plan.options)}; choose one of them")
