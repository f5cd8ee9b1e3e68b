"""The table of a run, and the page of the site that it becomes."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from pathlib import Path
from typing import Final

from tests.list_safety.oracle import RULES
from tests.list_safety.trial import Outcome

__all__ = ["FAULTS", "page", "table"]

FAULTS: Final = ("SILENT", "UNNAMED", "FAULT")
_COLUMNS: Final = ("same", "told", "refused", "no plan", "no trace", *FAULTS)
_FOUND: Final = (
    "## What it found",
    "",
    "Of the first 743 mutants, with the program as it was before, 46 differed in silence and 5 were refused without a",
    "name; a few of these were faults of the first judge, such as a stop that moved by 0.3 m. The others are mended:",
    "",
    "- a column that nobody has any more (`priority`, `status`, `service_id`, the fault pressure of stations), a layer",
    "  without features or left out: `column-absent`, `layer-absent`;",
    "- a customer left out whose service is still drawn: the plan names services that it cuts off or keeps by a feed and",
    "  on which nobody is recorded;",
    "- warnings about valves, stations, services and mains away from the work were left out of the plan though gas came",
    "  from there: they are put together, and those about stations are listed;",
    "- half a layer under a name that says nothing: it has the columns of one that is read;",
    "- a priority code on another customer than its note; an address on another customer than street and number, or",
    "  among those of another street;",
    "- part of a column in another unit while the median stays probable; house numbers read as numbers of meters;",
    "- a reference system in which the coordinates lead elsewhere was told by `check` alone;",
    "- errors of flow and stops said nothing of the capacity, outlet or pressure system that led to them.",
    "",
)
_PLACE: Final = Path(__file__).parents[2] / "docs" / "benchmarks" / "list-safety.md"


def table(outcomes: Sequence[Outcome]) -> list[str]:
    """Return a line for each kind of change: how many there were, and what became of them."""
    kinds = sorted({outcome.kind for outcome in outcomes})
    counts = {kind: Counter(o.result for o in outcomes if o.kind == kind) for kind in kinds}
    declared = Counter(outcome.kind for outcome in outcomes if outcome.rule)
    heads = [
        "change",
        "mutants",
        "same",
        "told",
        "refused",
        "no plan",
        "no trace",
        "declared",
        "silent",
        "fault",
    ]
    lines = ["| " + " | ".join(heads) + " |", "| --- " + "| ---: " * (len(heads) - 1) + "|"]
    for kind in (*kinds, "all"):
        some = Counter(o.result for o in outcomes) if kind == "all" else counts[kind]
        declares = sum(declared.values()) if kind == "all" else declared[kind]
        cells = [
            *(some[name] for name in ("same", "told", "refused", "no plan", "no trace")),
            declares,
            some["SILENT"],
            some["UNNAMED"] + some["FAULT"],
        ]
        lines.append(f"| {kind} | {sum(some.values())} | " + " | ".join(str(cell) for cell in cells) + " |")
    return lines


def _rules(outcomes: Sequence[Outcome]) -> list[str]:
    lines = [
        "| rule | declared | of these another list | why nobody could tell |",
        "| --- | ---: | ---: | --- |",
    ]
    for name, rule in RULES.items():
        some = [outcome for outcome in outcomes if outcome.rule == name]
        other = sum(outcome.result == "no trace" for outcome in some)
        why = " ".join((rule.__doc__ or "").split()).rstrip(".")
        lines.append(f"| {name} | {len(some)} | {other} | {why} |")
    return lines


def page(outcomes: Sequence[Outcome], first: int, seconds: float) -> Path:
    """Write the page of the site; return its path."""
    counts = Counter(outcome.result for outcome in outcomes)
    lines = [
        "# Data that means something else: the list, or a finding",
        "",
        "The gravest fault is a list of customers that is wrong and looks right. Here an export is changed so that it",
        "means something else: a name, a unit, a word, an id, a place, a feature. Then the same work section is planned",
        "on it. Either the list is the one of the unchanged town, or a warning or an error names the layer and the",
        "column, or the feature; or the plan is refused in one line. Anything else is a silent difference.",
        "",
        "    python -m tests.list_safety 2000",
        "",
        "- The *list* is who is off or kept and why, who is on standby or in doubt, with address, street, number,",
        "  postcode, priority, language and meters of everybody named; and the stops and feeds, a stop that moves by up",
        "  to 0.6 m counting as the same.",
        "- The true list is that of the unchanged town. A walk over the raw layers with shapely and networkx, which",
        "  shares no code with the program, proves it; what it says of people is held against the layers.",
        "- The towns: two parts of the sample town, and an invented ward with a use for every column, at two places. The",
        "  exports: one GeoPackage, a folder of GeoJSON, and a GeoPackage of other names, words and units with its",
        "  mapping.",
        "- *told*: another list, and a warning or an error about the changed layer, in `plan.json` and counted on the",
        "  screen, that names the column or the feature and that the unchanged town does not have. A note does not",
        "  count, but for a source without street, number, postcode or language. Customers in doubt and records that would change the option count where they name the feature.",
        "- *refused*: one line names the layer, column or feature. *no plan*: no set of stops, so no list.",
        "- *no trace*: another list, where the oracle had declared before planning, from the changed data alone, that",
        "  nobody could tell. *declared*: how often it did so, whatever the list then was.",
        "",
        f"## {len(outcomes):,} mutants from seed {first}",
        "",
        f"{counts['same']:,} gave the same list, {counts['told']:,} another one that was told,",
        f"{counts['refused'] + counts['no plan']:,} none; {counts['no trace']:,} differ without a trace, as declared;",
        f"{counts['SILENT']:,} differ in silence, {counts['UNNAMED']:,} were refused without a name,",
        f"{counts['FAULT']:,} were faults of the program. {seconds / 60:.0f} minutes on a shared machine.",
        "",
        *table(outcomes),
        "",
        *_FOUND,
        "## What leaves no trace",
        "",
        *_rules(outcomes),
        "",
    ]
    _PLACE.write_text("\n".join(lines), encoding="utf-8")
    return _PLACE
