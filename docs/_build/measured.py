"""The page of checks, from the record that running the comparisons wrote."""

from __future__ import annotations

import csv
from collections import Counter
from pathlib import Path

from generated import intro, table

RECORD = Path(__file__).resolve().parent.parent / "checks.csv"
HOW = {
    "published": "printed in a source that was read",
    "library": "worked out by a general library, version named",
    "arithmetic": "worked out apart from this code, by hand or by symmetry",
    "common practice": "common practice without a published source",
    "from memory": "remembered; nobody had the text at hand",
}
HEADS = {
    "flow": "Flow and pressure",
    "bypass": "Bypasses",
    "gas": "Gas properties",
    "pipe": "Pipe dimensions",
    "demand": "Demand",
    "venting": "Gas lost and purging",
    "real": "A real town",
    "isolation": "Choice of stops",
    "nominal": "Nominal sizes as text",
    "screening": "Every main in turn",
}


def checks_page() -> str:
    """Return every comparison with the outside world as tables."""
    with RECORD.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    counts = Counter(row["how"] for row in rows)
    points = sum(int(row["points"]) for row in rows)
    parts = [
        intro("checks").format(count=len(rows), points=points),
        table(
            ("how the reference is known", "meaning", "comparisons"),
            ((how, words, counts.get(how, 0)) for how, words in HOW.items()),
        ),
    ]
    of_kind: dict[str, list[dict[str, str]]] = {}
    for row in rows:
        of_kind.setdefault(row["file"].removeprefix("test_").partition("_")[0].partition(".")[0], []).append(
            row
        )
    for kind in [*HEADS, *sorted(of_kind.keys() - HEADS.keys())]:
        if kind in of_kind:
            parts += [f"## {HEADS.get(kind, kind)}\n", _rows(of_kind[kind])]
    return "\n".join([*parts, intro("unchecked")])


def _rows(rows: list[dict[str, str]]) -> str:
    head = (
        "quantity",
        "unit",
        "ours",
        "reference",
        "difference",
        "tolerance",
        "points",
        "reference from",
        "known",
    )
    keys = ("quantity", "unit", "ours", "reference", "difference", "tolerance", "points", "source", "how")
    return table(head, ([row[key] for key in keys] for row in rows))
