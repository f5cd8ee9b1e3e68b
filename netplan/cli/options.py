"""Options that several commands share, and how their values are read.

A quantity is a bare number in the unit that the help states, or one with its unit. Nothing here loads more
than reading an option needs: what is wrong is refused at once.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Final

import typer

from netplan.cli.shown_units import remember_units
from netplan.core.errors import BadInputError
from netplan.core.input_paths import check_polygon_file, check_text_file, network_path
from netplan.core.units import is_bare, quantity
from netplan.core.work_window import check_air_temp, check_hours, local_time

if TYPE_CHECKING:
    from netplan.readers import Mapping

__all__ = [
    "CHAINAGE",
    "DURATION",
    "LENGTH",
    "LON_LAT",
    "MAIN_CHAINAGE",
    "MAIN_FROM_TO",
    "PRESSURE",
    "SIZES",
    "TEMPERATURE",
    "AirTemp",
    "AnySize",
    "Cache",
    "Hours",
    "Language",
    "Layers",
    "MappingFile",
    "Network",
    "NoBypass",
    "NoPapers",
    "NoWeather",
    "PlanFolder",
    "Rank",
    "RulesFile",
    "Start",
    "Tiles",
    "Units",
    "WindowGiven",
    "Within",
    "Words",
    "air_temp_c",
    "air_temp_note",
    "check_charts_folder",
    "check_forecast",
    "check_inputs",
    "mapping_given",
    "metres",
    "millibars",
    "millimetres",
    "window_given",
]

CHAINAGE: Final = "CHAINAGE"
DURATION: Final = "DURATION"
LENGTH: Final = "LENGTH"
LON_LAT: Final = "LON,LAT"
MAIN_CHAINAGE: Final = "MAIN:CHAINAGE"
MAIN_FROM_TO: Final = "MAIN:FROM:TO"
PRESSURE: Final = "PRESSURE"
SIZES: Final = "SIZE,…"
TEMPERATURE: Final = "TEMPERATURE"


Network = Annotated[
    str,
    typer.Argument(
        help="GeoPackage, FileGDB, folder of files named after layers, or postgresql://HOST/DATABASE?schema=NAME."
    ),
]
PlanFolder = Annotated[Path, typer.Argument(help="Plan folder; nothing in it is changed.")]
MappingFile = Annotated[
    Path | None,
    typer.Option("--mapping", help="What the layers, columns and words of the data mean (TOML)."),
]
Within = Annotated[Path | None, typer.Option(help="File with a polygon: read only what touches it.")]
Cache = Annotated[
    Path | None, typer.Option(help="Folder for joined networks, to start faster next time on the same data.")
]
Districts = Annotated[
    Path | None,
    typer.Option(
        metavar="INDEX",
        help="Index that gas-netplan districts made of NETWORK: only the districts near the work are read.",
    ),
]
Memory = Annotated[
    int, typer.Option(min=1, help="With --districts: read no more than a plan has room for in so many GiB.")
]
AnySize = Annotated[bool, typer.Option("--any-size", help="Read files of any size and number of features.")]
NoBypass = Annotated[
    bool, typer.Option("--no-bypass", help="Only options without bypass, hose or opened valve.")
]
NoWeather = Annotated[
    bool, typer.Option("--no-weather", help="Do not calculate the coldest weather: quicker.")
]
NoPapers = Annotated[bool, typer.Option("--no-papers", help="Make no letters, sheets or work pack: quicker.")]
RulesFile = Annotated[
    Path | None, typer.Option(help="Your planning rules (TOML); they replace shipped ones key by key.")
]
Start = Annotated[str | None, typer.Option(help="Start of the window, ISO 8601 local time.")]
Hours = Annotated[
    str | None,
    typer.Option(metavar=DURATION, help="Length of the window [h], or with its unit: '540 min'."),
]
AirTemp = Annotated[
    str | None,
    typer.Option(
        metavar=TEMPERATURE,
        help="Air temperature of the window [°C; °F with --units us], or with its unit: '39 °F', '4 °C'.",
    ),
]
Rank = Annotated[int, typer.Option(min=1, help="Rank of the option.")]
Units = Annotated[
    str,
    typer.Option(
        callback=remember_units,
        help="metric or us, for what people read and for a bare air temperature; plan.json stays metric.",
    ),
]
Language = Annotated[
    str,
    typer.Option(
        help="Language tag of letters for customers whose language is not recorded or has no words file."
    ),
]
Words = Annotated[
    Path | None,
    typer.Option(help="Folder with your sender and words: words.<tag>.toml, such as words.en.toml."),
]
Layers = Annotated[
    list[str] | None,
    typer.Option(
        metavar="FORMAT",
        help="Also write the layers of plan.gpkg as geoparquet or geojson, in a folder; repeat for both.",
    ),
]
Tiles = Annotated[
    str | None, typer.Option(help="Online background the map's reader may switch on: an address pattern.")
]

_PLAN_DIGITS: Final = 2
"""Digits of air temperatures in plan.json: what is planned for is what the plan states."""


@dataclass(frozen=True, slots=True)
class WindowGiven:
    """The window of the work as it is given: what is left out is None.

    Parameters
    ----------
    start : datetime or None
        Local time.
    hours : float or None
        Length [h].
    air_temp_c : float or None
        Air temperature [°C], to 0.01 °C as plan.json states it.
    """

    start: datetime | None
    hours: float | None
    air_temp_c: float | None


def window_given(
    start: str | None, hours: str | None, air_temp: str | None, units: str = "metric"
) -> WindowGiven:
    """Read ``--start``, ``--hours`` and ``--air-temp``; with ``us`` a bare temperature is °F.

    Raises
    ------
    BadInputError
        When one of them cannot be read, or no window can have it.
    """
    length = None if hours is None else quantity(hours, "hour", "--hours")
    celsius = air_temp_c(air_temp, units)
    begin = None if start is None else local_time(start, "--start")
    if length is not None:
        check_hours(length)
    if celsius is not None:
        check_air_temp(celsius)
    return WindowGiven(begin, length, celsius)


def check_forecast(forecast: Path | None, air_temp: str | None, *, has_start: bool = True) -> None:
    """Refuse a forecast beside one air temperature, or one of which nobody knows which hours count.

    Raises
    ------
    BadInputError
    """
    if forecast is None:
        return
    if air_temp is not None:
        raise BadInputError(
            "--forecast and --air-temp: give only one; leave --air-temp out to plan by the hours of the "
            "forecast, or --forecast to plan every hour at one temperature"
        )
    if not has_start:
        raise BadInputError("--forecast: needs --start, to know which of its hours count; give it")


def check_inputs(
    network: str,
    *,
    texts: tuple[Path | None, ...] = (),
    polygons: tuple[Path | None, ...] = (),
) -> None:
    """Refuse a network, text files and files of polygons that are not there, before any is read.

    Raises
    ------
    BadInputError
    """
    network_path(network)
    for path in texts:
        if path is not None:
            check_text_file(path)
    for path in polygons:
        if path is not None:
            check_polygon_file(path)


def mapping_given(path: Path | None) -> Mapping | None:
    """Return the mapping of a file; None without one.

    Raises
    ------
    BadInputError
        When it cannot be read, or is no mapping.
    """
    if path is None:
        return None
    from netplan.readers import read_mapping  # few sources need one

    return read_mapping(path)


def check_charts_folder(folder: Path | None) -> None:
    """Refuse a folder for pictures whose parent is not there, before anything is worked out.

    Raises
    ------
    BadInputError
        Also where what draws them is not installed.
    """
    if folder is None:
        return
    from netplan.core.extras import require_extra

    require_extra("charts", "--charts")
    if not folder.parent.is_dir():
        raise BadInputError(f"--charts: {folder.parent} is no folder; make it first")


def metres(text: str, option: str) -> float:
    """Read a length or chainage [m] of an option, such as ``"12"`` or ``"40 ft"``; bare metres always."""
    return quantity(text, "m", option)


def millimetres(text: str, option: str) -> float:
    """Read a size [mm] of an option, such as ``"63"`` or ``"2 in"``."""
    return quantity(text, "mm", option)


def millibars(text: str, option: str) -> float:
    """Read a gauge pressure [mbar] of an option, such as ``"19"`` or ``"7 inH2O"``."""
    return quantity(text, "mbar", option)


def air_temp_c(text: str | None, units: str = "metric", option: str = "--air-temp") -> float | None:
    """Read an air temperature, to 0.01 °C as plan.json states it; None where it is left out.

    Parameters
    ----------
    text : str or None
        Such as ``"4"``, ``"-12 °C"``, ``"39 °F"``.
    units : str
        ``us``: a bare number is °F; ``metric``: °C.
    option : str
        Its name, for the message.

    Returns
    -------
    float or None
        [°C].

    Raises
    ------
    BadInputError
        When it is no temperature, or the units are not known.
    """
    from netplan.outputs.number_format import figures_of

    bare = "degF" if figures_of(units).name == "us" else "degC"
    return None if text is None else round(quantity(text, "degC", option, bare), _PLAN_DIGITS) + 0.0


def air_temp_note(text: str | None, units: str) -> str:
    """Return what is to be said of a bare air temperature that was read as °F; empty for any other."""
    from netplan.outputs.number_format import figures_of

    celsius = air_temp_c(text, units)
    if text is None or celsius is None or units != "us" or not is_bare(text):
        return ""
    return (
        f"air temperature {text.strip()} °F ({figures_of('metric').temperature(celsius)}), "
        "read as °F because of --units us"
    )
