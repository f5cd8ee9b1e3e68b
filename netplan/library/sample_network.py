"""Where the sample network lies: inside the installed package, or beside it in a working copy."""

from __future__ import annotations

from pathlib import Path
from typing import Final

import netplan
from netplan.core.errors import BadInputError

__all__ = ["SAMPLE_WORK", "sample_town"]

SAMPLE_WORK: Final = ("M0142", 158.0, 162.0)
"""Main, and chainages from and to [m], of the demo's work section."""


def sample_town() -> Path:
    """Return the path of the sample network, an invented town of 1,485 customers.

    Raises
    ------
    BadInputError
        When it is not installed.

    Examples
    --------
    >>> netplan.sample_town().name
    'town.gpkg'
    """
    package = Path(netplan.__file__).parent
    for place in (package / "sample_network" / "town.gpkg", package.parent / "sample_network" / "town.gpkg"):
        if place.is_file():
            return place
    raise BadInputError("sample network: town.gpkg is not installed; install the package again")
