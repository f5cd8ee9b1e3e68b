"""``gas-netplan schema``: print the JSON Schema of plan.json."""

from __future__ import annotations

import json

import typer


def command() -> None:
    """Print the JSON Schema of plan.json."""
    from netplan.planfile.plan_json import plan_schema

    typer.echo(json.dumps(plan_schema(), indent=1, ensure_ascii=False))
