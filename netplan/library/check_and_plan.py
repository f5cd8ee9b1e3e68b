"""Checking a network and planning the stopping of a work section."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

from netplan.core.errors import BadWorkError
from netplan.core.findings import Finding
from netplan.core.work_window import local_time
from netplan.isolation import Orders
from netplan.network.checks.survey import survey
from netplan.network.model import Network
from netplan.network.work_section import WorkPart
from netplan.planfile.plan_result import PlanResult
from netplan.planning.make_plan import make_plan
from netplan.planning.request import PlanRequest
from netplan.readers import Mapping, open_source, read_layers, read_network
from netplan.readers.source_findings import with_missing_findings
from netplan.rules import Rules, default_rules

__all__ = ["check_network", "plan_work"]


def check_network(source: str | Path, *, mapping: Mapping | None = None) -> tuple[Finding, ...]:
    """Return every finding about a network, worst first; nothing is refused.

    Parameters
    ----------
    source : str or Path
        GeoPackage, or folder of files named after the layers.
    mapping : Mapping, optional
        What the layers, columns and words of the source mean.

    Raises
    ------
    BadInputError
        When the source cannot be opened.

    Examples
    --------
    >>> findings = netplan.check_network(netplan.sample_town())
    >>> sum(finding.severity == "error" for finding in findings)
    0
    """
    raw = with_missing_findings(read_layers(open_source(source), mapping=mapping))
    return survey(raw.layers, raw.source, raw.findings).findings


def plan_work(
    network: Network | str | Path,
    *work: tuple[str, float, float],
    rules: Rules | None = None,
    start: datetime | str | None = None,
    hours: float | None = None,
    air_temp_c: float | None = None,
    orders: Orders | None = None,
    bypasses: bool = True,
    options: int | None = None,
    weather: bool = True,
) -> PlanResult:
    """Plan where to stop the mains so that the work can be done, and all that follows from it.

    Parameters
    ----------
    network : Network, str or Path
        Joined network, or where to read one; then pipes without a usable size that lie far from the work are
        set aside as the command ``plan`` does.
    *work : (str, float, float)
        Lengths to be made gas-free: main, and chainages from and to [m].
    rules : Rules, optional
        Planning rules; default those that ship with the package.
    start : datetime or str, optional
        Local start of the window; a str is ISO 8601. Default any working day.
    hours : float, optional
        Length of the window [h]; default the rules' working day.
    air_temp_c : float, optional
        Air temperature of the window [°C]; default the rules' design temperature.
    orders : Orders, optional
        Stops forced and forbidden, and the like.
    bypasses : bool
        Whether bypasses, hoses and opened valves may be used.
    options : int, optional
        How many options to list; default the rules' number.
    weather : bool
        Whether to look until how cold each option holds, which takes most of the time.

    Returns
    -------
    PlanResult
        `PlanResult.plan` is what plan.json will say: pressures [mbar gauge], flows [m³/h at 15 °C,
        101.325 kPa], lengths [m].

    Raises
    ------
    BadInputError
        When network, work section, window or rules cannot be used.
    NoPlanError
        When no plan was found: `reasons` say what stands in the way, `lifted` which order lifted alone gives
        a plan, and `cut_short` whether the search ended before every way was tried.

    Examples
    --------
    >>> result = netplan.plan_work(network, ("M0017", 120, 126), options=1, weather=False)
    >>> [stop.method for stop in result.plan.options[0].stops]
    ['bag stop', 'bag stop']
    """
    if not work:
        raise BadWorkError('work section: give at least one length, such as ("M0142", 158, 162)')
    return make_plan(
        PlanRequest(
            network=network if isinstance(network, Network) else read_network(network, set_aside=True),
            parts=tuple(WorkPart(main, float(low), float(high)) for main, low, high in work),
            rules=rules or default_rules(),
            start=None if start is None else local_time(start, "start"),
            hours=hours,
            air_temp_c=air_temp_c,
            orders=orders or Orders(),
            feeds_allowed=bypasses,
            options=options,
            weather=weather,
        )
    )
