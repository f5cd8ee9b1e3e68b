"""Changes of names: layers and columns renamed, dropped, swapped, or in another case."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from tests.list_safety.exports import Export
from tests.list_safety.mutant import Change, Mutant, Rng, UnfitError, names_of, pick

__all__ = [
    "drop_column",
    "drop_layer",
    "rename_column",
    "rename_layer",
    "swap_columns",
    "swap_layers",
]

_OTHER: Final = {
    "id": ("ident", "asset_no", "Kennung"),
    "material": ("mat", "Werkstoff", "materiau"),
    "od_mm": ("outer_diameter", "diameter", "d_aussen"),
    "sdr": ("ratio", "wall_class", "r"),
    "bore_mm": ("inner", "clear_width", "di"),
    "system": ("pressure_tier", "Druckstufe", "net"),
    "status": ("lifecycle", "in_use", "Zustand"),
    "address": ("location", "Anschrift", "where"),
    "street": ("road", "Strasse", "rue"),
    "number": ("house_no", "Hausnr", "nr"),
    "category": ("use_class", "Kundenart", "kind_of_use"),
    "priority": ("critical", "vulnerable", "Schutzbedarf", "special", "prio"),
    "priority_note": ("remark", "Hinweis", "info"),
    "meters": ("meter_count", "Zaehler", "units"),
    "annual_kwh": ("consumption", "Verbrauch", "kwh", "annual_use"),
    "peak_kw": ("load", "Leistung", "kw"),
    "service_id": ("service", "Anschluss_Nr", "fed_by", "line"),
    "state": ("position", "Stellung", "setting"),
    "operable": ("works", "gangbar", "ok"),
    "outlet_mbar": ("set_point", "Ausgangsdruck", "p_out"),
    "max_outlet_mbar": ("relief", "Sicherheitsdruck", "p_fault"),
    "kind": ("type", "Art", "what"),
    "station_id": ("station", "Anlage", "of"),
    "reason": ("why", "Grund", "note"),
    "mains": ("pipes", "Hauptleitung", "distribution", "net_lines"),
    "services": ("laterals", "Hausanschluss", "branches", "connections"),
    "customers": ("meter_points", "Kunden", "supply_points", "premises"),
    "regulators": ("stations", "Regelanlagen", "governors", "supply"),
    "valves": ("stop_valves", "Schieber", "cocks", "shutoffs"),
    "fittings": ("components", "Formteile", "items", "parts"),
    "sensing_points": ("control_lines", "Messpunkte", "impulse", "sensors"),
    "injections": ("entries", "Einspeisung", "biogas", "sources"),
    "keep_out": ("no_dig", "Sperrflaeche", "restricted", "areas"),
}
"""Other names in use: words of the trade, translated, or such as say little."""
_LISTED: Final = ("priority", "service_id", "status", "system", "state", "address", "meters", "annual_kwh")
_LIKELY: Final = ("customers", "mains", "services", "valves", "regulators")


def _near(name: str, rng: Rng) -> tuple[str, str]:
    """Return a name like another one, and in what it differs."""
    how = pick(
        rng,
        (
            "capital",
            "upper case",
            "plural",
            "blank after it",
            "number after it",
            "misspelt",
            "other word",
            "unknown",
        ),
    )
    place = int(rng.integers(1, max(len(name) - 1, 2)))
    found = {
        "capital": name.title() if name.islower() else name.swapcase(),
        "upper case": name.upper() if not name.isupper() else name.lower(),
        "plural": name.removesuffix("s") if name.endswith("s") else f"{name}s",
        "blank after it": f"{name} ",
        "number after it": f"{name}_2",
        "misspelt": name[:place] + name[place + 1 :] if len(name) > 3 else f"{name}{name[-1]}",
        "unknown": f"attr_{int(rng.integers(1, 99))}",
    }
    return found.get(how, ""), how


def _other_name(own: str, written: str, rng: Rng) -> tuple[str, str]:
    new, how = _near(written, rng)
    if not new:
        new = str(pick(rng, _OTHER.get(own, (f"{written}_x",))))
    return new, how


def _column(export: Export, layer: str, rng: Rng) -> str:
    listed = [column for column in _LISTED if export.has(layer, column)]
    if listed and rng.random() < 0.6:
        return str(pick(rng, listed))
    return str(pick(rng, export.columns(layer)))


def _layer(export: Export, rng: Rng) -> str:
    likely = [layer for layer in _LIKELY if layer in export.layer_of]
    return str(pick(rng, likely if rng.random() < 0.75 else export.layer_of))


def rename_column(export: Export, rng: Rng) -> Mutant:
    """Write a column under another name."""
    layer = _layer(export, rng)
    column = _column(export, layer, rng)
    old = export.column(layer, column)
    new, how = _other_name(column, old, rng)
    if new.casefold() in {str(name).casefold() for name in export.frame(layer).columns if name != old}:
        raise UnfitError
    after = export.with_frame(layer, export.frame(layer).rename(columns={old: new}))
    names = names_of(export, layer, column) | {new.strip()}
    change = Change(
        "rename a column", f"{layer}: {old!r} as {new!r} ({how})", frozenset([layer]), frozenset(names)
    )
    return Mutant(export, after, change)


def rename_layer(export: Export, rng: Rng) -> Mutant:
    """Write a layer under another name."""
    layer = _layer(export, rng)
    old = export.layer_of[layer]
    new, how = _other_name(layer, old, rng)
    if new.strip().casefold() in {name.casefold() for name in export.frames if name != old}:
        raise UnfitError
    if export.file_format == "geojson":
        new = new.strip()
    frames = {new if name == old else name: frame for name, frame in export.frames.items()}
    after = replace(export, frames=frames, layer_of={**export.layer_of, layer: new})
    names = names_of(export, layer) | {new.strip()}
    change = Change("rename a layer", f"{old!r} as {new!r} ({how})", frozenset([layer]), frozenset(names))
    return Mutant(export, after, change)


def drop_column(export: Export, rng: Rng) -> Mutant:
    """Leave a column out."""
    layer = _layer(export, rng)
    column = _column(export, layer, rng)
    old = export.column(layer, column)
    after = export.with_frame(layer, export.frame(layer).drop(columns=old))
    names = frozenset(names_of(export, layer, column))
    return Mutant(export, after, Change("drop a column", f"{layer}: {old}", frozenset([layer]), names))


def drop_layer(export: Export, rng: Rng) -> Mutant:
    """Leave a layer out, or all its features."""
    layer = _layer(export, rng)
    old = export.layer_of[layer]
    names = frozenset(names_of(export, layer))
    if rng.random() < 0.5:
        after = export.with_frame(layer, export.frame(layer).iloc[:0])
        return Mutant(
            export, after, Change("drop a layer", f"all features of {old}", frozenset([layer]), names)
        )
    frames = {name: frame for name, frame in export.frames.items() if name != old}
    return Mutant(
        export, replace(export, frames=frames), Change("drop a layer", old, frozenset([layer]), names)
    )


def swap_columns(export: Export, rng: Rng) -> Mutant:
    """Write two columns of a layer under each other's name."""
    layer = _layer(export, rng)
    one = _column(export, layer, rng)
    other = str(pick(rng, [column for column in export.columns(layer) if column != one]))
    names = {export.column(layer, one): export.column(layer, other)}
    names |= {new: old for old, new in names.items()}
    after = export.with_frame(layer, export.frame(layer).rename(columns=names))
    about = frozenset(names_of(export, layer, one, other))
    return Mutant(
        export,
        after,
        Change(
            "swap two columns",
            f"{layer}: {one} and {other}",
            frozenset([layer]),
            about,
            rows=(layer, one, other),
        ),
    )


def swap_layers(export: Export, rng: Rng) -> Mutant:
    """Write two layers under each other's name."""
    one = _layer(export, rng)
    other = str(pick(rng, [layer for layer in export.layer_of if layer != one]))
    first, second = export.layer_of[one], export.layer_of[other]
    frames = {**export.frames, first: export.frames[second], second: export.frames[first]}
    names = frozenset(names_of(export, one) | names_of(export, other))
    return Mutant(
        export,
        replace(export, frames=frames),
        Change("swap two layers", f"{first} and {second}", frozenset([one, other]), names),
    )
