"""Plan folders: saving a plan, and reading what it says, from the folder alone."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import pandas as pd

from netplan.explain import explain, figures_to_explain
from netplan.outputs.as_built_network import as_built_fittings as fittings_left
from netplan.outputs.as_built_network import write_as_built as write_network
from netplan.outputs.layers import read_plan_layers
from netplan.outputs.plan_folder import write_plan_folder
from netplan.outputs.reader_choices import Choices
from netplan.outputs.terminal.explanation_text import explanation_lines
from netplan.planfile import read_state
from netplan.planfile.model import Option, Plan
from netplan.planfile.plan_json import option_of_rank, read_plan
from netplan.planfile.plan_result import PlanResult
from netplan.planning.resize import Resized, ResizeRequest, resize
from netplan.planning.resize_problem import resize_problem
from netplan.readers import Mapping, read_layers

__all__ = [
    "affected_customers",
    "as_built_fittings",
    "bypass_for_weather",
    "explain_figure",
    "figures_of_plan",
    "plan_layers",
    "plan_options",
    "save_plan",
    "write_as_built",
]


def save_plan(
    result: PlanResult,
    folder: str | Path,
    *,
    overwrite: bool = False,
    papers: bool = True,
    units: str = "metric",
    language: str = "en",
    words: str | Path | None = None,
) -> Path:
    """Write the plan folder, whole or not at all, and return its path.

    Parameters
    ----------
    result : PlanResult
        As returned by `plan_work`.
    folder : str or Path
        The folder to make; its parent must exist.
    overwrite : bool
        Whether an earlier plan folder of that name may be replaced.
    papers : bool
        Whether letters, sheets and work pack are set as PDF.
    units : str
        ``metric`` or ``us``, for what people read; plan.json stays metric.
    language : str
        Language of letters where a customer has none recorded.
    words : str or Path, optional
        Folder of ``words.<tag>.toml`` files. Without a sender in them there are no letters: the shipped words
        have none, and the first sheet of notices.xlsx says what to add.

    Raises
    ------
    BadInputError
        When the folder exists and may not be replaced, or cannot be written.
    """
    own = None if words is None else Path(words)
    choices = Choices(units=units, language=language, words=own, papers=papers)
    return write_plan_folder(result, Path(folder), overwrite=overwrite, choices=choices)


def plan_options(plan: Plan | str | Path) -> pd.DataFrame:
    """Return the options of a plan as a table: holes against customers off, as planners think.

    Parameters
    ----------
    plan : Plan, str or Path
        A plan, or the folder of one.

    Returns
    -------
    DataFrame
        One row an option, best first: stops, holes, meters off, meters kept, feeds, gas lost
        [m³ at 15 °C, 101.325 kPa], least pressure at a kept meter inlet [mbar gauge], burden [currency].

    Raises
    ------
    BadInputError
        When the folder holds no plan.

    Examples
    --------
    >>> options = netplan.plan_options(folder)
    >>> options.meters_off.tolist()
    [8, 8, 1, 2, 2]
    """
    read = plan if isinstance(plan, Plan) else read_plan(Path(plan))
    rows = [
        {
            "option": option.rank,
            "stops": len(option.stops),
            "holes": option.holes,
            "meters_off": _meters(option, "off"),
            "meters_kept": _meters(option, "kept"),
            "feeds": len(option.bypasses) + len(option.opened_valves),
            "gas_m3": option.vent.total_m3,
            "least_mbar": option.pressures.after.least_mbar,
            "burden": option.burden,
        }
        for option in read.options
    ]
    return pd.DataFrame(rows).set_index("option")


def _meters(option: Option, effect: str) -> int:
    return sum(customer.meters for customer in option.customers if customer.effect == effect)


def affected_customers(plan: Plan | str | Path, option: int = 1) -> pd.DataFrame:
    """Return everybody whose supply an option touches, those off first, by address.

    Parameters
    ----------
    plan : Plan, str or Path
        A plan, or the folder of one.
    option : int
        Rank of the option.

    Returns
    -------
    DataFrame
        One row a customer: address, effect (off or kept), cause, what keeps it, priority, meters, pressure at
        the meter inlet at the worst hour [mbar gauge], off from and on by.

    Raises
    ------
    BadInputError
        When there is no such plan or option.

    Examples
    --------
    >>> people = netplan.affected_customers(folder)
    >>> people.effect.value_counts().to_dict()
    {'kept': 20, 'off': 8}
    """
    read = plan if isinstance(plan, Plan) else read_plan(Path(plan))
    rows = [customer.model_dump() for customer in option_of_rank(read, option).customers]
    columns = ["id", "address", "effect", "cause", "kept_by", "category", "priority", "meters"]
    columns += ["pressure_mbar", "off_from", "on_by"]
    table = pd.DataFrame(rows, columns=columns).set_index("id")
    return table.sort_values(["effect", "address"], ascending=[False, True], kind="stable")


def plan_layers(folder: str | Path, option: int = 1) -> dict[str, gpd.GeoDataFrame]:
    """Return the layers of an option from plan.gpkg, in the network's CRS.

    Parameters
    ----------
    folder : str or Path
        A plan folder.
    option : int
        Rank of the option; layers that belong to no option come whole.

    Raises
    ------
    BadInputError
        When there is no readable plan.gpkg.

    Examples
    --------
    >>> layers = netplan.plan_layers(folder)
    >>> layers["stops"].method.tolist()
    ['valve', 'bag stop', 'squeeze-off']
    """
    layers = read_plan_layers(Path(folder))
    return {
        name: table[table.option == option].reset_index(drop=True) if "option" in table else table
        for name, table in layers.items()
    }


def as_built_fittings(folder: str | Path, option: int = 1) -> gpd.GeoDataFrame:
    """Return the squeeze places and capped outlets that an option leaves behind, as planned.

    Parameters
    ----------
    folder : str or Path
        A plan folder.
    option : int
        Rank of the option.

    Returns
    -------
    GeoDataFrame
        One row a fitting, in the plan's working CRS: id, system and kind (``squeeze_mark`` or
        ``tapping_tee``) as in the layer ``fittings`` of the data contract, main and chainage [m, true
        length], bore of the outlet [mm; NaN where the plan states none], option and note.

    Raises
    ------
    BadInputError
        When there is no such plan or option.

    Examples
    --------
    >>> left = netplan.as_built_fittings(folder)
    >>> left.kind.value_counts().to_dict()
    {'tapping_tee': 13, 'squeeze_mark': 2}
    """
    return fittings_left(Path(folder), option)


def write_as_built(
    folder: str | Path,
    source: str | Path,
    out: str | Path,
    *,
    option: int = 1,
    mapping: Mapping | None = None,
    only_new: bool = False,
    changed_network: bool = False,
) -> Path:
    """Write a network with the fittings that an option leaves behind, for the next plan, and return its path.

    Parameters
    ----------
    folder : str or Path
        A plan folder.
    source : str or Path
        The network that the plan was made for, as `read_network` reads it.
    out : str or Path
        The GeoPackage to make, in the network's own CRS and the words of the data contract.
    option : int
        Rank of the option that was carried out.
    mapping : Mapping, optional
        What the layers, columns and words of the source mean.
    only_new : bool
        Whether the new rows of the layer ``fittings`` are written and nothing else.
    changed_network : bool
        Whether the network may have been edited since it was planned on.

    Raises
    ------
    BadInputError
        When the network is another one, a place is on no main of it, or the file exists.
    """
    raw = read_layers(source, mapping=mapping)
    return write_network(
        Path(folder), raw, Path(out), option=option, only_new=only_new, changed_network=changed_network
    ).path


def figures_of_plan(folder: str | Path, option: int = 1) -> dict[str, str]:
    """Return the figures that can be explained, and what the plan says of each, with its unit.

    Parameters
    ----------
    folder : str or Path
        A plan folder.
    option : int
        Rank of the option.

    Raises
    ------
    BadInputError
        When there is no such plan or option.

    Examples
    --------
    >>> netplan.figures_of_plan(folder)["velocity:B1"]
    '4.67 m/s'
    """
    found = figures_to_explain(option_of_rank(read_plan(Path(folder)), option))
    return {figure.name: figure.stated for figure in found}


def explain_figure(folder: str | Path, figure: str, option: int = 1) -> str:
    """Return how a figure comes about: formula, inputs with their origin, arithmetic.

    Parameters
    ----------
    folder : str or Path
        A plan folder; nothing else is read.
    figure : str
        Such as ``pressure:S1`` or ``burden``; `figures_of_plan` lists them.
    option : int
        Rank of the option.

    Raises
    ------
    BadInputError
        When there is no such option or figure.

    Examples
    --------
    >>> print(netplan.explain_figure(folder, "purge-velocity").splitlines()[0])
    Least velocity of the purge, so that gas and air do not slide over each other
    """
    path = Path(folder)
    return "\n".join(
        explanation_lines(explain(read_plan(path), read_state(read_plan_layers(path), option), figure))
    )


def bypass_for_weather(
    folder: str | Path,
    air_temp_c: float | None = None,
    *,
    bores_mm: tuple[float, ...] | None = None,
    hose_length_m: float | None = None,
    minimum_mbar: float | None = None,
    option: int = 1,
    weather: bool = True,
) -> Resized:
    """Size the bypasses of an option anew, its stops unchanged, from the folder alone.

    Parameters
    ----------
    folder : str or Path
        A plan folder.
    air_temp_c : float, optional
        Air temperature of the window [°C]; default as planned.
    bores_mm : tuple of float, optional
        Bores to choose from [mm]; default the rules' list.
    hose_length_m : float, optional
        Length of every bypass and hose [m]; default as planned.
    minimum_mbar : float, optional
        Minimum pressure at a meter inlet [mbar gauge]; the rules' margin comes on top.
    option : int
        Rank of the option.
    weather : bool
        Whether the coldest weather of every size is looked for too.

    Raises
    ------
    BadInputError
        When the option has no bypass, or the folder does not hold the whole state.

    Examples
    --------
    >>> found = netplan.bypass_for_weather(folder, 5.0, weather=False)
    >>> [round(size.bore_m * 1000) for size in found.in_use]
    [25]
    """
    path = Path(folder)
    problem = resize_problem(read_plan(path), read_state(read_plan_layers(path), option))
    request = ResizeRequest(
        air_temp_c=air_temp_c, bores_mm=bores_mm, hose_length_m=hose_length_m, minimum_mbar=minimum_mbar
    )
    return resize(problem, request, weather=weather)
