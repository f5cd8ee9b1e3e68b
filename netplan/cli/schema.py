"""``gas-netplan schema``: print the JSON Schema of plan.json or emergency.json."""

from __future__ import annotations

import json
from typing import Annotated

import typer

from netplan.core.errors import BadInputError, quoted


def command(
    of: Annotated[str, typer.Argument(help="plan or emergency.", metavar="KIND")] = "plan",
) -> None:
    """Print the JSON Schema of plan.json, or with 'emergency' that of emergency.json."""
    if of == "plan":
        from netplan.planfile.plan_json import plan_schema

        schema = plan_schema()
    elif of == "emergency":
        from netplan.planfile.emergency_json import emergency_schema

        schema = emergency_schema()
    else:
        raise BadInputError(f"schema: there is none of {quoted(of)}; write plan or emergency")
    typer.echo(json.dumps(schema, indent=1, ensure_ascii=False))
