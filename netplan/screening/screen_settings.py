"""What a screen is asked."""

from __future__ import annotations

import hashlib
import json
from dataclasses import asdict, dataclass
from datetime import datetime
from typing import Final, Literal

import numpy as np

from netplan import __version__
from netplan.core.errors import BadInputError
from netplan.network.model import Network
from netplan.network.work_part import check_work_of_mains
from netplan.network.work_section import WorkSection
from netplan.rules import Rules

__all__ = ["MIDDLE_M", "ScreenSettings", "Work", "section_of", "span_of"]

Work = Literal["middle", "whole"]
MIDDLE_M: Final = 0.5
"""Length in the middle of a main that is to be gas-free, when nothing else is said (own) [m]."""
FORMAT: Final = 2


@dataclass(frozen=True, slots=True)
class ScreenSettings:
    """The question put to every main.

    Parameters
    ----------
    work : {"middle", "whole"}
        The work section of a main: a short length in its middle (a leak, a tee), or all of it from end to end
        (a renewal).
    work_m : float
        Length in the middle [m]; a shorter main is taken whole.
    start : datetime, optional
        Local start of the window; None for any working day.
    hours : float, optional
        Length of the window [h]; None for the rules' working day.
    air_temp_c : float, optional
        Air temperature of the window [°C]; None for the rules' design temperature.
    pressure : bool
        Whether to solve the pressures with the stops in.
    stops : bool
        Whether to look for the stops of planned work at all.
    full : bool
        Whether to price the best option of a plan of each main as well: feeds, pressures, hours and the order
        of the work.

    Raises
    ------
    BadInputError
        When the length cannot be worked on, or the best option is to be priced without stops or pressures.
    """

    work: Work = "middle"
    work_m: float = MIDDLE_M
    start: datetime | None = None
    hours: float | None = None
    air_temp_c: float | None = None
    pressure: bool = True
    stops: bool = True
    full: bool = False

    def __post_init__(self) -> None:
        if self.full and not self.stops:
            raise BadInputError("--full with --no-stops: the best option has stops; leave one of them out")
        if self.full and not self.pressure:
            raise BadInputError("--full with --no-pressure: a plan has pressures; leave one of them out")
        check_work_of_mains(self.work, self.work_m)

    def key(self, network: Network, rules: Rules) -> str:
        """Return the digest of everything that decides the figures: content, rules, question, version."""
        asked = {name: str(value) for name, value in asdict(self).items()}
        facts = [FORMAT, __version__, network.content_sha256, rules.values(), asked]
        return hashlib.sha256(json.dumps(facts, sort_keys=True).encode()).hexdigest()


def span_of(length_m: float, settings: ScreenSettings) -> tuple[float, float]:
    """Return from where to where the work section of a main of some length goes [m]."""
    if settings.work == "middle" and length_m > settings.work_m:
        low = (length_m - settings.work_m) / 2
        return low, low + settings.work_m
    return 0.0, length_m


def section_of(network: Network, main: int, settings: ScreenSettings) -> WorkSection:
    """Return the work section of a main."""
    low, high = span_of(network.pipes.length_m.item(main), settings)
    return WorkSection(np.array([main], np.int32), np.array([low]), np.array([high]))
