"""Which rules are not those that a plan, or a session of the page, was made by."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from typing import Any, Final

__all__ = ["rule_differences"]

_MOST_SHOWN: Final = 200
"""Letters of a value that are shown (own) [-]."""


def rule_differences(planned: Mapping[str, Any], today: Mapping[str, Any]) -> tuple[str, ...]:
    """Return a line for each rule that differs, by its key.

    Parameters
    ----------
    planned, today : mapping
        Values of the rules by table and key.
    """
    was, now = dict(_flat(_plain(planned))), dict(_flat(_plain(today)))
    return tuple(
        f"rule {key}: {_value(now.get(key))} instead of {_value(was.get(key))}"
        for key in sorted({*was, *now})
        if was.get(key) != now.get(key)
    )


def _plain(value: Any) -> Any:
    return json.loads(json.dumps(value))


def _flat(value: Any, key: str = "") -> Iterator[tuple[str, Any]]:
    if isinstance(value, Mapping):
        for name, inner in value.items():
            yield from _flat(inner, f"{key}.{name}" if key else str(name))
    elif isinstance(value, list) and any(isinstance(one, Mapping) for one in value):
        for place, inner in enumerate(value):
            name = inner.get("name", place) if isinstance(inner, Mapping) else place
            yield from _flat(inner, f"{key}.{name}")
    else:
        yield key, value


def _value(value: Any) -> str:
    return "none" if value is None else json.dumps(value, ensure_ascii=False)[:_MOST_SHOWN]
