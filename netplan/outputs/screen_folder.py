"""The folder of a screen: there whole, or not there at all."""

from __future__ import annotations

from pathlib import Path

from netplan.outputs.atomic_writes import Target, write_folder
from netplan.outputs.figures_for_rules import figures_for_rules
from netplan.outputs.map.screen_map import screen_map
from netplan.outputs.measures_table import write_measures
from netplan.outputs.number_format import METRIC, Figures
from netplan.outputs.output_folders import check_screen_target
from netplan.outputs.screen_emergency import EmergencyView, write_maintenance
from netplan.outputs.screen_report import report_text
from netplan.outputs.screen_table import ranked_mains, write_csv, write_geoparquet
from netplan.screening.best_measures import BestMeasures
from netplan.screening.link_candidates import NewLink
from netplan.screening.screen_run import Screen
from netplan.screening.valve_candidates import ValvePlaces

__all__ = ["write_screen_folder"]


def write_screen_folder(
    screen: Screen,
    out: Path,
    by: str,
    *,
    valves: ValvePlaces | None = None,
    links: tuple[NewLink, ...] | None = None,
    measures: BestMeasures | None = None,
    emergency: EmergencyView | None = None,
    overwrite: bool = False,
    target: Target | None = None,
    units: Figures = METRIC,
) -> Path:
    """Write tables, map and report of a screen into one folder.

    Parameters
    ----------
    screen : Screen
    out : Path
        The folder to make. Its parent must exist.
    by : str
        Figure to rank and colour by: a column of `screening.screen_columns.SCHEMA` that holds numbers.
    valves, links : optional
        Better places; None where they were not looked for.
    measures : BestMeasures, optional
        What saves most a year.
    emergency : EmergencyView, optional
        The emergency at every main; its columns are in the table of the screen already.
    overwrite : bool
        Whether an earlier screen of that name may be replaced.
    target : Target, optional
        As `check_screen_target` returned it before the screen was computed.
    units : Figures
        How figures of report and map are written; the tables stay metric.

    Raises
    ------
    BadInputError
        When the target exists and may not be replaced, or cannot be written.
    """
    place = target or check_screen_target(out, overwrite=overwrite)
    mains = ranked_mains(screen, by)
    units = figures_for_rules(units, screen.rules.values())

    def make(part: Path) -> None:
        write_geoparquet(mains, part / "mains.parquet")
        write_csv(mains, part / "mains.csv")
        (part / "map.html").write_text(screen_map(screen, mains, by, units=units), encoding="utf-8")
        text = report_text(screen, mains, by, valves, links, emergency, units, measures=measures)
        (part / "report.md").write_text(text, encoding="utf-8")
        if measures is not None:
            write_measures(measures, part / "measures.csv")
        if emergency is not None and emergency.lists is not None:
            write_maintenance(emergency, part / "maintenance.csv")

    return write_folder(place, make)
