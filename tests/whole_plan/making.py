"""The program makes a plan of a random town: raw layers to a file, read, planned, written as a folder."""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from pathlib import Path

import geopandas as gpd

from netplan.core.errors import BadInputError, NoPlanError, NotSolvedError
from netplan.network.work_section import WorkPart
from netplan.outputs.plan_folder import write_plan_folder
from netplan.outputs.reader_choices import Choices
from netplan.planning.make_plan import PlanRequest, make_plan
from netplan.readers import read_network
from netplan.rules import read_rules
from tests.support.letters import WORDS
from tests.whole_plan.towns import Town

__all__ = ["Made", "plan_town", "write_layers"]


@dataclass(frozen=True)
class Made:
    """What the program answered: a plan folder, or why there is none."""

    folder: Path | None
    answer: str
    """``plan``, ``no plan``, or ``refused`` for input that cannot be planned with."""
    why: str = ""


def write_layers(layers: dict[str, gpd.GeoDataFrame], path: Path) -> None:
    """Write raw layers as one GeoPackage."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        for name, frame in layers.items():
            frame.to_file(path, layer=name, driver="GPKG")


def plan_town(town: Town, source: Path, folder: Path, *, feeds: bool, papers: bool) -> Made:
    """Plan the town of a GeoPackage and write the plan folder."""
    try:
        network = read_network(source)
    except BadInputError as error:
        return Made(None, "refused", str(error))
    rows = [network.customers.id.find(ident) for ident in town.own_supply]
    request = PlanRequest(
        network,
        tuple(WorkPart(*part) for part in town.work),
        read_rules(None, overrides=town.rules),
        air_temp_c=town.air_temp_c,
        feeds_allowed=feeds,
        own_supply=tuple(rows),
        weather=False,
    )
    try:
        result = make_plan(request)
    except NoPlanError as error:
        return Made(None, "no plan", "; ".join([str(error), *error.reasons]))
    except (BadInputError, NotSolvedError) as error:
        # A town that carries too little before any stop, or work that no station feeds.
        return Made(None, "refused", str(error))
    write_plan_folder(result, folder, choices=Choices(papers=papers, words=WORDS))
    return Made(folder, "plan")
