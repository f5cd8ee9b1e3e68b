"""``gas-netplan schema``: print the JSON Schema of plan.json, of emergency.json and of the other files."""

from __future__ import annotations

import json
from typing import Annotated

import typer

from netplan.core.errors import BadInputError, quoted


def command(
    of: Annotated[
        str, typer.Argument(help="plan, emergency, session, superseded or contacts.", metavar="KIND")
    ] = "plan",
) -> None:
    """Print the JSON Schema of plan.json, or that of another file by its kind."""
    if of == "plan":
        from netplan.planfile.plan_json import plan_schema

        schema = plan_schema()
    elif of == "emergency":
        from netplan.planfile.emergency_json import emergency_schema

        schema = emergency_schema()
    elif of == "session":
        from netplan.page.session_model import session_schema

        schema = session_schema()
    elif of == "superseded":
        from netplan.planfile.superseded import superseded_schema

        schema = superseded_schema()
    elif of == "contacts":
        from netplan.planfile.contact_log import contacts_schema

        schema = contacts_schema()
    else:
        raise BadInputError(
            f"schema: there is none of {quoted(of)}; write plan, emergency, session, superseded or contacts"
        )
    typer.echo(json.dumps(schema, indent=1, ensure_ascii=False))
