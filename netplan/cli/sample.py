"""Where the sample network lies: inside the installed package, or beside it in a working copy."""

from __future__ import annotations

from pathlib import Path
from typing import Final

import netplan
from netplan.errors import BadInputError

__all__ = ["DEMO_WORK", "sample_network"]

DEMO_WORK: Final = ("M0142", 158.0, 162.0)
"""Main, from and to of the demo's work section: see sample_network/README.md."""


def sample_network() -> Path:
    """Return the path of the sample network.

    Raises
    ------
    BadInputError
        When it is not there.
    """
    package = Path(netplan.__file__).parent
    for place in (package / "sample_network" / "town.gpkg", package.parent / "sample_network" / "town.gpkg"):
        if place.is_file():
            return place
    raise BadInputError("sample network: town.gpkg is not installed; install the package again")
