"""One mutant of meaning: made from its seed, judged against the true list."""

from __future__ import annotations

import shutil
import tempfile
import time
import traceback
import warnings
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import Any, Final

import numpy as np

from netplan.network.work_section import WorkPart
from tests.list_safety import names, places, rows, values
from tests.list_safety.exports import FORMATS, Export, exported, write_export
from tests.list_safety.judge import Made, Row, differences, made_from, planned, told
from tests.list_safety.mutant import Mutant, UnfitError
from tests.list_safety.oracle import traceless
from tests.list_safety.towns import TOWNS, Town, town
from tests.support.independent import Walker
from tests.support.verified import check_walk

__all__ = ["KINDS", "Outcome", "mutant_of", "trial", "true_list"]

WORDS: Final = {
    "same": "the same list",
    "told": "another list, and a finding that names it",
    "refused": "refused, with the name",
    "no plan": "no plan",
    "no trace": "another list, declared to leave no trace",
    "SILENT": "another list in silence",
    "UNNAMED": "refused without a name",
    "FAULT": "a fault of the program",
}
"""What may become of a mutant."""

KINDS: Final[tuple[Callable[..., Mutant], ...]] = (
    names.rename_column,
    names.rename_column,
    names.rename_layer,
    names.drop_column,
    names.drop_layer,
    names.swap_columns,
    names.swap_layers,
    rows.drop_feature,
    rows.drop_feature,
    rows.drop_pair,
    rows.drop_rows_of_value,
    rows.repeat_feature,
    rows.swap_service_ids,
    rows.swap_addresses,
    rows.swap_places,
    rows.swap_values,
    rows.split_layer,
    values.other_unit,
    values.part_in_other_unit,
    values.recase_words,
    values.other_words,
    values.other_words,
    values.other_type,
    values.other_ids,
    places.shift_feature,
    places.shift_feature,
    places.shift_layer,
    places.other_crs,
    places.other_heights,
    places.reverse_lines,
)
"""Kinds of change; twice where there are most ways."""
_BY_WORK: Final = (
    rows.drop_feature,
    rows.drop_pair,
    rows.repeat_feature,
    rows.swap_service_ids,
    rows.swap_addresses,
    rows.swap_places,
    rows.swap_values,
    places.shift_feature,
)
_TRIES: Final = 20


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of a mutant.

    Parameters
    ----------
    seed : int
    kind, words, where : str
        What was changed, in which town and format.
    result : str
        One of `WORDS`.
    rule : str
        The rule by which it was declared to leave no trace; empty for none.
    detail : str
        What differs, what tells it, or why there is no list.
    seconds : float
    """

    seed: int
    kind: str
    words: str
    where: str
    result: str
    rule: str
    detail: str
    seconds: float


@lru_cache(maxsize=32)
def true_list(name: str, file_format: str) -> Made:
    """Return what the program makes of an undamaged town, proved by a walk that shares no code with it."""
    here = town(name)
    with tempfile.TemporaryDirectory() as folder:
        place, mapping = write_export(exported(here.layers, file_format), Path(folder))
        result = planned(place, mapping, here.work)
        made = made_from(place, mapping, here.work)
    work = [(here.work.main_id, here.work.from_m, here.work.to_m)]
    check_walk(Walker(here.layers, result.network.scale), result.plan.options[0], work)
    assert made.customers is not None
    _check_people(here, made)
    return made


def _check_people(here: Town, made: Made) -> None:
    """Hold what the list says of people against the layers as they stand."""
    assert made.customers is not None
    frame = here.layers["customers"].set_index("id")
    for name, said in made.customers.people.items():
        columns = ("address", "street", "number", "postcode", "priority", "language", "meters")
        for column, value in zip(columns, said, strict=True):
            if column in frame:
                held = frame[column][name]
                assert value == ("" if held is None or held != held else held), (name, column, value, held)


def mutant_of(seed: int) -> tuple[Mutant, Town]:
    """Return the mutant of a seed and the town it is of."""
    rng = np.random.default_rng(seed)
    here = town(TOWNS[seed % len(TOWNS)])
    export = exported(here.layers, str(rng.choice(FORMATS)))
    mains = here.layers["mains"]
    line = mains.geometry[(mains["id"] == here.work.main_id).to_numpy()].iloc[0]
    work = line.interpolate(here.work.from_m)
    kind = KINDS[(seed // len(TOWNS)) % len(KINDS)]
    for _ in range(_TRIES):
        try:
            mutant = kind(export, rng, work) if kind in _BY_WORK else kind(export, rng)
        except UnfitError:
            continue
        return mutant, here
    return Mutant(export, export, names.rename_column(export, rng).change), here


def trial(seed: int) -> Outcome:
    """Make the mutant of a seed, plan on it and judge what came of it."""
    begun = time.perf_counter()
    with warnings.catch_warnings(action="ignore"):
        mutant, here = mutant_of(seed)
        rule = traceless(mutant)
    true = true_list(here.name, mutant.before.file_format)
    folder = Path(tempfile.mkdtemp(prefix="list-"))
    try:
        with warnings.catch_warnings(action="ignore"):
            place, mapping = write_export(mutant.after, folder)
        made = made_from(place, mapping, _work(here, mutant))
        result, detail = _judged(mutant, rule, true, made)
    except Exception:  # noqa: BLE001 - whatever it is, it is a fault of the seed
        result, detail = "FAULT", traceback.format_exc(limit=-4)
    finally:
        shutil.rmtree(folder, ignore_errors=True)
    where = f"{here.name}, {mutant.before.file_format}"
    change = mutant.change
    return Outcome(seed, change.kind, change.words, where, result, rule, detail, time.perf_counter() - begun)


def _work(here: Town, mutant: Mutant) -> WorkPart:
    """Return the work section as a planner would give it who reads the id off the changed data."""
    written = {old: new for new, old in mutant.change.ids.items()}
    return replace(here.work, main_id=written.get(here.work.main_id, here.work.main_id).strip())


def _judged(mutant: Mutant, rule: str, true: Made, made: Made) -> tuple[str, str]:
    change = mutant.change
    assert true.customers is not None
    if made.customers is None:
        named = bool(told(change, [("", "", made.refusal)])) or _names_layer(mutant, made.refusal)
        return ("no plan" if made.no_plan else "refused" if named else "UNNAMED"), made.refusal
    ids = {new.strip(): old for new, old in change.ids.items()}
    other = differences(true.customers, made.customers, ids)
    new: list[Row] = sorted(set(made.said) - set(true.said))
    tells = told(change, new)
    if not other:
        return "same", str(tells[:1]) if tells else ""
    if tells:
        return "told", f"{other[0]} | {tells[0]}"
    return ("no trace" if rule else "SILENT"), "; ".join(other[:4])


def _names_layer(mutant: Mutant, words: str) -> bool:
    export: Export = mutant.before
    held: set[Any] = {
        *mutant.change.layers,
        *(export.layer_of.get(layer, layer) for layer in mutant.change.layers),
    }
    return any(layer in words or layer.removesuffix("s") in words for layer in held)
