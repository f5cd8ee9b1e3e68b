"""``gas-netplan schema``: print the JSON Schema of plan.json, of emergency.json and of the other files."""

from __future__ import annotations

import json
from typing import Annotated, Any, Final

import typer

from netplan.core.errors import BadInputError, quoted

_NAMES: Final = ("plan", "emergency", "session", "superseded", "recheck", "contacts")
_KINDS: Final = f"{', '.join(_NAMES[:-1])} or {_NAMES[-1]}"


def command(
    of: Annotated[str, typer.Argument(help=f"{_KINDS}.", metavar="KIND")] = "plan",
) -> None:
    """Print the JSON Schema of plan.json or another file."""
    if of not in _NAMES:
        raise BadInputError(f"schema: no schema {quoted(of)}; write {_KINDS}")
    typer.echo(json.dumps(_schema(of), indent=1, ensure_ascii=False))


def _schema(of: str) -> dict[str, Any]:
    """Return the schema of a kind of file; each is loaded when it is asked for."""
    if of == "plan":
        from netplan.planfile.plan_json import plan_schema

        return plan_schema()
    if of == "emergency":
        from netplan.planfile.emergency_json import emergency_schema

        return emergency_schema()
    if of == "session":
        from netplan.page.session_model import session_schema

        return session_schema()
    if of == "superseded":
        from netplan.planfile.superseded import superseded_schema

        return superseded_schema()
    if of == "recheck":
        from netplan.planfile.recheck_answer import recheck_schema

        return recheck_schema()
    from netplan.planfile.contact_log import contacts_schema

    return contacts_schema()
