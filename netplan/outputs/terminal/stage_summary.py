"""What ``gas-netplan stage`` prints: a line a stage, what is proven, and where the papers are."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from netplan.isolation import MINOR_PER_UNIT
from netplan.outputs.number_format import Figures
from netplan.outputs.stage_table import stage_folder_name
from netplan.staging import RenewalStage, Staging

__all__ = ["stage_lines"]


def stage_lines(staging: Staging, out: Path, units: Figures) -> Iterator[str]:
    """Yield the summary of a renewal in stages.

    Parameters
    ----------
    staging : Staging
    out : Path
        Its folder.
    units : Figures
    """
    stages = staging.stages
    count = "1 stage" if len(stages) == 1 else f"{len(stages)} stages"
    yield (
        f"{units.length(staging.renewal.length_m)} in {count}: at most {staging.most_off} meters off at any "
        f"one time, burden {_money(staging, staging.burden_minor)}."
    )
    for number, stage in enumerate(stages, 1):
        yield _stage(staging, number, stage, units)
    yield _proof(staging)
    yield f"Tables, layers and maps: {out.resolve()}"
    last = "" if len(stages) == 1 else f" to {stage_folder_name(len(stages))}"
    yield f"A plan folder of each stage in it: {stage_folder_name(1)}{last}"


def _stage(staging: Staging, number: int, stage: RenewalStage, units: Figures) -> str:
    option = stage.option
    words = [
        _counted(stage.meters_off, "meter") + " off",
        _counted(len(option.stops), "stop")
        + _bracketed(len(stage.sharing.stops), "shared with the stage before"),
    ]
    hoses = sum(one.parallel for one in option.bypasses)
    if hoses:
        moved = sum(one.hoses for one in stage.sharing.hoses)
        words.append(_counted(hoses, "hose") + _bracketed(moved, "moved along"))
    if option.opened_valves:
        words.append(_counted(len(option.opened_valves), "opened valve"))
    if stage.in_new_pipe:
        words.append(f"{', '.join(stage.in_new_pipe)} in new pipe")
    day = "" if stage.start is None else f"{stage.start:%a %d %b %Y}, "
    place = f"{units.length(stage.from_m)} to {units.length(stage.to_m)}"
    taken = "" if stage.rank == 1 else f"option {stage.rank}, "
    return f"{number}. {day}{place}: {taken}{', '.join(words)}, {_money(staging, stage.burden_minor)}"


def _proof(staging: Staging) -> str:
    tried = f"{staging.borders_tried} borders, {staging.plans_made} plans of lengths between them"
    fewest = (
        "no series of stages has fewer meters off"
        if staging.least_most_off == staging.most_off
        else f"no series of stages has fewer than {staging.least_most_off} meters off"
    )
    if staging.is_every_length:
        cheapest = "none of the options listed of each length makes a cheaper series"
        return f"Proven among {tried}: {fewest}; {cheapest}."
    gap = _money(staging, staging.gap_minor)
    alone = _money(staging, staging.alone_minor)
    return (
        f"After {tried}: {fewest}; the burden before sharing, {alone}, is at most {gap} above the least. "
        "Raise staging.plans_max in the rules to go on."
    )


def _money(staging: Staging, minor: int) -> str:
    return f"{minor / MINOR_PER_UNIT:,.2f} {staging.rules.price.currency}"


def _counted(count: int, name: str) -> str:
    return f"{count} {name}" if count == 1 else f"{count} {name}s"


def _bracketed(count: int, words: str) -> str:
    return f" ({count} {words})" if count else ""
