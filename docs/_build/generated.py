"""Reference pages, written from the same tables the program reads, so that they cannot drift."""

from __future__ import annotations

import csv
import inspect
import json
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

import typer
from typer.main import get_command

import netplan
from netplan.cli.app import app
from netplan.network.contract import layer_specs
from netplan.planfile.emergency_json import emergency_schema
from netplan.planfile.plan_json import plan_schema
from netplan.rules import default_rules_text
from netplan.core.sources import sources

PACKAGE = Path(netplan.__file__).parent


def intro(name: str) -> str:
    """Return what stands above the tables of a page."""
    return (Path(__file__).resolve().parent / "intro" / f"{name}.md").read_text(encoding="utf-8")


def _cell(text: object) -> str:
    return " ".join(str(text).split()).replace("|", "\\|").replace("<", "&lt;")


def table(head: Iterable[str], rows: Iterable[Iterable[object]]) -> str:
    """Return a Markdown table."""
    names = list(head)
    lines = ["| " + " | ".join(names) + " |", "|" + " --- |" * len(names)]
    lines += ["| " + " | ".join(_cell(cell) for cell in row) + " |" for row in rows]
    return "\n".join(lines) + "\n"


def data_page() -> str:
    """Return the input contract."""
    parts = [
        intro("data"),
    ]
    for name, spec in layer_specs().items():
        parts.append(f"## {name}\n")
        parts.append(f"{spec.geometry}; {'required' if spec.required else 'optional'}. {spec.description}.\n")
        rows = (
            (f"`{c.name}`", c.kind, c.unit, c.required, c.default, ", ".join(c.words), c.description)
            for c in spec.columns
        )
        if spec.columns:
            parts.append(table(("column", "kind", "unit", "required", "default", "words", "meaning"), rows))
    return "\n".join(parts)


def rules_page() -> str:
    """Return the planning rules as a reference, and the shipped file as it is."""
    parts = [
        intro("rules"),
    ]
    name, rows = "", []
    for line in [*default_rules_text().splitlines(), "[end]"]:
        text = line.strip()
        if text.startswith("[") and text.endswith("]") and "=" not in text:
            if rows:
                parts += [f"## {name}\n", table(("key", "shipped", "unit", "where it comes from"), rows)]
            name, rows = text.strip("[]"), []
        elif "=" in text.partition("#")[0] and not text.startswith(("#", "{")):
            key, _, value = text.partition(" = ")
            shown, _, note = value.rpartition("# ")
            unit, _, origin = note.partition("] ")
            if name == "method" and key == "name":
                name = f"method {shown.strip()}"
            rows.append(
                (f"`{key}`", f"`{shown.strip().rstrip('[') or 'see the file'}`", unit.strip("["), origin)
            )
    parts += ["## The file\n", "```toml", default_rules_text().rstrip(), "```\n"]
    return "\n".join(parts)


def plan_page() -> str:
    """Return the schema of plan.json as tables, one a kind of object."""
    return _schema_page("plan", plan_schema())


def emergency_page() -> str:
    """Return the schema of emergency.json in the same way."""
    return _schema_page("emergency", emergency_schema())


def _schema_page(name: str, schema: dict[str, Any]) -> str:
    parts = [
        intro(name),
    ]
    every = {schema["title"]: schema, **schema["$defs"]}
    for kind, of in every.items():
        parts += [f"## {kind}\n", _one_line(of.get("description", "")) + "\n"]
        rows = (
            (
                f"`{key}`",
                _kind(value),
                "yes" if key in of.get("required", ()) else "",
                _digits(value),
                value.get("description", ""),
            )
            for key, value in of.get("properties", {}).items()
        )
        if of.get("properties"):
            parts.append(table(("key", "kind", "always there", "digits", "meaning"), rows))
    return "\n".join(parts)


def _one_line(text: str) -> str:
    return " ".join(text.split())


def _kind(value: dict[str, Any]) -> str:
    if "$ref" in value:
        name = value["$ref"].rpartition("/")[2]
        return f"[{name}](#{name.lower()})"
    if "anyOf" in value:
        return " or ".join(_kind(each) for each in value["anyOf"])
    if "const" in value:
        return f"`{json.dumps(value['const'])}`"
    if "enum" in value:
        return ", ".join(f"`{json.dumps(word, ensure_ascii=False)}`" for word in value["enum"])
    if value.get("type") == "array":
        return f"list of {_kind(value.get('items', {}))}"
    if value.get("type") == "object" and isinstance(value.get("additionalProperties"), dict):
        return f"by name: {_kind(value['additionalProperties'])}"
    return str(value.get("type", "any"))


def _digits(value: dict[str, Any]) -> str:
    for each in (value, *value.get("anyOf", ())):
        if "digits" in each:
            return f"{each['digits']} {each.get('rounded', '')}".strip()
    return ""


def commands_page() -> str:
    """Return every command with its arguments and options, from the command line itself."""
    group = get_command(app)
    context = typer.Context(group, info_name="gas-netplan")
    parts = [
        intro("commands"),
    ]
    for name in group.list_commands(context):  # type: ignore[attr-defined]
        command = group.get_command(context, name)  # type: ignore[attr-defined]
        usage = [f"gas-netplan {name}"]
        rows = []
        for part in command.params:
            if part.name == "help":
                continue
            if part.param_type_name == "argument":
                words = str(part.metavar or part.name).upper() + (
                    "…" if part.nargs < 0 and "…" not in str(part.metavar) else ""
                )
                usage.append(words)
                rows.append((f"`{words}`", "", part.help or ""))
            else:
                default = part.default
                shown = "" if default in (None, False) or callable(default) else f"`{default}`"
                needed = "needed" if part.required else shown
                rows.append((", ".join(f"`{o}`" for o in part.opts), needed, part.help or ""))
        parts += [f"## {name}\n", "```", " ".join([*usage, "[OPTIONS]"]), "```\n"]
        parts += [inspect.cleandoc(command.help or "") + "\n"]
        parts += [table(("argument or option", "default", "meaning"), rows)] if rows else []
    return "\n".join(parts)


def sources_page() -> str:
    """Return every source by its key."""
    rows = ((f"`{s.key}`", s.title, s.how, s.note) for s in sources().values())
    return "\n".join(
        (
            intro("sources"),
            table(("key", "what", "how it is known", "note"), rows),
        )
    )


def tables_page() -> str:
    """Return the data tables the program reads, as they stand."""
    parts = ["# Tables\n", "Every number below is read by the program from the file named.\n"]
    for path in sorted([*(PACKAGE / "reference").rglob("*.csv"), *(PACKAGE / "customers").glob("*.csv")]):
        with path.open(encoding="utf-8", newline="") as file:
            rows = list(csv.reader(line for line in file if not line.startswith("#")))
        name = path.relative_to(PACKAGE.parent).as_posix()
        shown = rows[1:41]
        parts += [f"## {path.stem}\n", f"`{name}`, {len(rows) - 1} rows.\n", table(rows[0], shown)]
        if len(rows) - 1 > len(shown):
            parts.append(f"… and {len(rows) - 1 - len(shown)} more rows in the file.\n")
    return "\n".join(parts)


PAGES: dict[str, Callable[[], str]] = {
    "reference/commands.md": commands_page,
    "reference/data.md": data_page,
    "reference/rules.md": rules_page,
    "reference/plan.md": plan_page,
    "reference/emergency.md": emergency_page,
    "reference/tables.md": tables_page,
    "reference/sources.md": sources_page,
}
