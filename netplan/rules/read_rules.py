"""Reading rules: the shipped defaults, overlaid by the operator's file."""

from __future__ import annotations

import tomllib
from functools import lru_cache
from importlib import resources
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from netplan.core.errors import BadRulesError, shown
from netplan.core.text_files import TooLargeError, text_of, toml_of
from netplan.rules.rule_set import MethodKind, Rules

__all__ = ["checked_rules", "default_rules", "default_rules_text", "read_rules"]

MAX_BYTES = 300_000


def default_rules_text() -> str:
    """Return the shipped rules file, comments included."""
    return resources.files("netplan.rules").joinpath("defaults.toml").read_text(encoding="utf-8")


@lru_cache(maxsize=1)
def default_rules() -> Rules:
    """Return the shipped rules."""
    return Rules.model_validate(tomllib.loads(default_rules_text()))


def read_rules(path: Path | None = None, overrides: dict[str, Any] | None = None) -> Rules:
    """Return the shipped rules with the operator's own over them.

    A table of the file overlays the shipped table key by key; ``[[method]]`` tables, when there are any,
    replace the shipped methods as a whole, so that no example method sneaks into an operator's plan, and
    ``[[outlet]]`` tables the shipped table of outlets.

    Parameters
    ----------
    path : Path, optional
        TOML file of the operator.
    overrides : dict, optional
        Tables over both, as parsed TOML.

    Raises
    ------
    BadRulesError
        When the file cannot be read, a key is unknown, or a value has a wrong unit or is impossible.
    """
    values = tomllib.loads(default_rules_text())
    name = "rules"
    if path is not None:
        name = path.name
        values = _overlay(values, _parse(path))
    if overrides:
        values = _overlay(values, overrides)
    try:
        return Rules.model_validate(values)
    except ValidationError as error:
        raise BadRulesError(_message(name, error)) from None


def checked_rules(values: Any, where: str) -> Rules:
    """Return rules from plain values, such as those that a plan states.

    Rules of before the table of outlets, kept in an old plan, get the shipped one: what that plan tapped says
    the plan itself.

    Parameters
    ----------
    values : dict
        As `Rules.values` returns them.
    where : str
        Where they stand, for the message.

    Raises
    ------
    BadRulesError
        When a key is missing or unknown, or a value is impossible.
    """
    try:
        return Rules.model_validate(_with_outlets(values))
    except ValidationError as error:
        raise BadRulesError(f"{_message(where, error)}; correct it, or plan again") from None


def _with_outlets(values: Any) -> Any:
    """Return rules that have no table of outlets with the shipped one in place of the sizes they had."""
    if not isinstance(values, dict) or "outlet" in values or not isinstance(values.get("method"), list):
        return values
    shipped = default_rules()
    at_valves = next(method.assembly for method in shipped.method if method.kind is MethodKind.VALVE)
    methods = []
    for method in values["method"]:
        parts = method.get("assembly", []) if isinstance(method, dict) else None
        if not isinstance(parts, list) or not all(isinstance(part, dict) for part in parts):
            return values
        assembly = [{key: part[key] for key in part if key != "size_mm"} for part in parts]
        if method.get("kind") == MethodKind.VALVE and not assembly:
            assembly = [part.model_dump() for part in at_valves]
        methods.append({**method, "assembly": assembly})
    outlets = [outlet.model_dump() for outlet in shipped.outlet]
    return {**values, "method": methods, "outlet": outlets}


def _parse(path: Path) -> dict[str, Any]:
    try:
        return toml_of(text_of(path, MAX_BYTES))
    except OSError as error:
        raise BadRulesError(f"{path}: cannot be read ({error.strerror or error}); check the path") from None
    except UnicodeDecodeError:
        raise BadRulesError(f"{path.name}: is not UTF-8 text; save it as UTF-8") from None
    except TooLargeError as error:
        raise BadRulesError(f"{path.name}: {error}; this is not a rules file") from None
    except ValueError as error:
        raise BadRulesError(f"{path.name}: is not valid TOML ({_one_line(str(error))}); correct it") from None


def _overlay(under: dict[str, Any], over: dict[str, Any]) -> dict[str, Any]:
    result = dict(under)
    for key, value in over.items():
        known = result.get(key)
        # A gas is named or composed: the operator's word replaces the shipped one.
        if (
            key == "gas"
            and isinstance(value, dict)
            and isinstance(known, dict)
            and {"name", "composition"} & set(value)
        ):
            known = {k: v for k, v in known.items() if k not in ("name", "composition")}
        result[key] = _overlay(known, value) if isinstance(known, dict) and isinstance(value, dict) else value
    return result


def _message(name: str, error: ValidationError) -> str:
    first = error.errors(include_url=False, include_context=False)[0]
    where = shown(_one_line(".".join(str(part) for part in first["loc"]) or "file"))
    what = "unknown key; correct or remove it" if first["type"] == "extra_forbidden" else first["msg"]
    more = f" (and {error.error_count() - 1} more)" if error.error_count() > 1 else ""
    return f"{name}: {where}: {_one_line(what)}{more}"


def _one_line(text: str) -> str:
    return " ".join(text.split())[:300]
