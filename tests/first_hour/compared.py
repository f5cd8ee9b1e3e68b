"""A draft against what the export script knows: each layer, column, unit and word is right, asked for, or wrong."""

from __future__ import annotations

import tomllib
from typing import Any

from netplan.network.contract import layer_specs
from netplan.readers.mapping.unit_words import unit_factor
from tests.first_hour.export import Export, Meant

__all__ = ["wrong_in_draft"]

GAP = "?"


def wrong_in_draft(text: str, export: Export) -> list[str]:
    """Return what a draft says wrongly or leaves out without asking; empty where all is right or asked for."""
    feeds: dict[str, list[tuple[str, dict[str, Any]]]] = {}
    tables = tomllib.loads(text)
    for target in layer_specs():
        for feed in tables.get(target, ()):
            feeds.setdefault(feed["source"], []).append((target, feed))
    faults = [
        f"{source}: {target} is no part of the network"
        for source, some in feeds.items()
        for target, _ in some
        if source != GAP and source not in export.truth and target != "water"
    ]
    for source, meant in export.truth.items():
        for one in meant:
            own = [feed for target, feed in feeds.get(source, ()) if target == one.target]
            if len(own) != 1:
                faults.append(f"{source}: {len(own)} tables of {one.target}")
                continue
            faults += [f"{source}: {one.target}: {fault}" for fault in _feed(own[0], one)]
        for target, _ in feeds.get(source, ()):
            if target not in {one.target for one in meant}:
                faults.append(f"{source}: taken for {target}")
    return faults


def _feed(feed: dict[str, Any], meant: Meant) -> list[str]:
    faults = _parts(feed, meant)
    rules = {name: _as_table(rule) for name, rule in feed.get("columns", {}).items()}
    if "size" in feed:
        rules["size"] = _as_table(feed["size"])
    for name in sorted(set(rules) | set(meant.columns)):
        rule, source = rules.get(name), meant.columns.get(name)
        if rule is None:
            faults.append(f"{name} is dropped: it is {source}")
        elif GAP in rule["from"]:
            continue
        elif source is None or tuple(rule["from"]) != _as_tuple(source):
            faults.append(f"{name} is taken from {rule['from']}: it is {source}")
        else:
            faults += _unit(name, rule, meant) + _words(name, rule, meant)
    return faults


def _as_table(rule: Any) -> dict[str, Any]:
    table = dict(rule) if isinstance(rule, dict) else {"from": rule}
    table["from"] = _as_tuple(table["from"])
    return table


def _as_tuple(value: Any) -> tuple[str, ...]:
    return (value,) if isinstance(value, str) else tuple(value)


def _parts(feed: dict[str, Any], meant: Meant) -> list[str]:
    """Return what is wrong in which features a table takes."""
    where = feed.get("where", [])
    if not meant.part:
        return ["it is parted"] if where else []
    if [condition["column"] for condition in where] != [meant.part]:
        return [f"it is not parted by {meant.part}"]
    taken = set(where[0]["is"]) - {GAP}
    faults = [f"it takes {word!r}" for word in sorted(taken - set(meant.is_))]
    if GAP not in where[0]["is"]:
        faults += [f"it drops {word!r}" for word in sorted(set(meant.is_) - taken)]
    return faults


def _unit(name: str, rule: dict[str, Any], meant: Meant) -> list[str]:
    of = {column.name: column.unit for column in layer_specs()[meant.target].columns}.get(name, "")
    true, said = meant.units.get(name, ""), rule.get("unit", "")
    if said in (GAP, true) or not of:
        return []
    if true and said and unit_factor(true, of) == unit_factor(said, of):
        return []
    return [f"{name} is read in {said or of}: it is in {true or of}"]


def _words(name: str, rule: dict[str, Any], meant: Meant) -> list[str]:
    true = meant.words.get(name, {})
    said = {word.strip().casefold(): value for word, value in rule.get("values", {}).items()}
    faults = [
        f"{name} {word!r} is taken for {value!r}: it is {true.get(word)!r}"
        for word, value in said.items()
        if value not in (GAP, true.get(word))
    ]
    own = {word.casefold() for word in true.values()}
    if not said:
        faults += [f"{name} {word!r} is not said" for word in true if word not in own and true[word]]
    return faults
