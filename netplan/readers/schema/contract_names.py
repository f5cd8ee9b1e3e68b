"""Which layers and columns of a source are meant by the names of the contract, case aside."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Final

from netplan.core.findings import Severity
from netplan.network.contract import LayerSpec, layer_specs
from netplan.network.notes import Notes
from netplan.readers.schema.near_names import shown
from netplan.readers.sources.source import Field

__all__ = ["columns_meant", "layers_meant"]

_CUT: Final = 10
"""Longest column name that a Shapefile keeps."""


def layers_meant(held: Sequence[str], notes: Notes) -> dict[str, str]:
    """Return the layer of the source that is meant by each layer of the contract that is there.

    The exact name goes before one in another case. Where several differ in case alone and none is exact, none
    is read, and that is an error among the findings.
    """
    meant = {}
    for target in layer_specs():
        alike = [name for name in held if name.casefold() == target]
        name = _only(target, alike)
        if name is not None:
            meant[target] = name
        elif alike:
            _ambiguous("layer", target, target, alike, notes)
    for target, name in meant.items():
        if name != target:
            _said("layer", target, [(name, target)], notes)
    return meant


def columns_meant(spec: LayerSpec, fields: Sequence[Field], notes: Notes) -> dict[str, str]:
    """Return the columns of the source that the contract knows, with the contract's names.

    As `layers_meant`; of a format that cuts names, a cut name in any case is exact enough.
    """
    # No two columns of a layer begin alike, so a cut name still says which is meant.
    short = {column.name[:_CUT]: column.name for column in spec.columns}
    known = {column.name: column.name for column in spec.columns}
    named: dict[str, list[Field]] = {}
    for field in fields:
        target = (short if field.cut else known).get(field.name.casefold())
        if target is not None:
            named.setdefault(target, []).append(field)
    meant: dict[str, str] = {}
    for target, some in named.items():
        exact = target[:_CUT] if some[0].cut else target
        alike = [field.name for field in some]
        name = _only(exact, alike)
        if name is not None:
            meant[name] = target
        else:
            _ambiguous("column", spec.name, target, alike, notes)
    cut = {field.name for field in fields if field.cut}
    other = [(name, target) for name, target in meant.items() if name != target and name not in cut]
    if other:
        _said("column", spec.name, other, notes)
    return meant


def _only(exact: str, alike: Sequence[str]) -> str | None:
    """Return the one name that is meant: the only one, else the only exact one."""
    if len(alike) == 1:
        return alike[0]
    return exact if list(alike).count(exact) == 1 else None


def _said(kind: str, layer: str, pairs: Iterable[tuple[str, str]], notes: Notes) -> None:
    notes.add(
        "read-as",
        layer,
        "",
        Severity.NOTE,
        ", ".join(f"{kind} {shown(name)} read as {target}" for name, target in sorted(pairs)),
        "rename it, or give a mapping, where that is not what it means",
    )


def _ambiguous(kind: str, layer: str, target: str, alike: Sequence[str], notes: Notes) -> None:
    notes.add(
        "ambiguous-name",
        layer,
        "",
        Severity.ERROR,
        f"{kind}s {' and '.join(shown(name) for name in sorted(alike))} may all be meant by {target}; "
        "none was read",
        f"name the one that is meant {target}, or give a mapping",
    )
