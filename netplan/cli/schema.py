"""``gas-netplan schema``: print the JSON Schema of plan.json, of emergency.json and of the other files."""

from __future__ import annotations

import json
from importlib import import_module
from typing import Annotated, Final

import typer

from netplan.core.errors import BadInputError, quoted

_SCHEMAS: Final = {
    "plan": ("netplan.planfile.plan_json", "plan_schema"),
    "emergency": ("netplan.planfile.emergency_json", "emergency_schema"),
    "session": ("netplan.page.session_model", "session_schema"),
    "superseded": ("netplan.planfile.superseded", "superseded_schema"),
    "recheck": ("netplan.planfile.recheck_answer", "recheck_schema"),
    "contacts": ("netplan.planfile.contact_log", "contacts_schema"),
}
_KINDS: Final = f"{', '.join(list(_SCHEMAS)[:-1])} or {list(_SCHEMAS)[-1]}"


def command(
    of: Annotated[str, typer.Argument(help=f"{_KINDS}.", metavar="KIND")] = "plan",
) -> None:
    """Print the JSON Schema of plan.json, or that of another file by its kind."""
    if of not in _SCHEMAS:
        raise BadInputError(f"schema: there is none of {quoted(of)}; write {_KINDS}")
    module, name = _SCHEMAS[of]
    schema = getattr(import_module(module), name)()
    typer.echo(json.dumps(schema, indent=1, ensure_ascii=False))
