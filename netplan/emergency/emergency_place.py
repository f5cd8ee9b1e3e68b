"""Where a main was hit, as it was given: a place on the map, a pipe and a chainage, or an address."""

from __future__ import annotations

import shlex
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from netplan.emergency.emergency_tables import EmergencyTables
    from netplan.emergency.hit_places import Hits

__all__ = ["EmergencyPlace"]


@dataclass(frozen=True, slots=True)
class EmergencyPlace:
    """A place as it is given: exactly one of longitude and latitude, a pipe, an address.

    Parameters
    ----------
    at : tuple of (float, float), optional
        Longitude and latitude (WGS 84) [°].
    main : str
        Id of a main or a service.
    at_m : float, optional
        Chainage on it [m]; its beginning without.
    address : str
        Street and number.
    """

    at: tuple[float, float] | None = None
    main: str = ""
    at_m: float | None = None
    address: str = ""

    def words(self) -> str:
        """Return the options of the command that give it."""
        if self.at is not None:
            return shlex.join(["--at", f"{self.at[0]!r},{self.at[1]!r}"])
        if self.main:
            return shlex.join(["--main", self.main, "--at-m", repr(self.at_m or 0.0)])
        return shlex.join(["--address", self.address])

    def hits(self, tables: EmergencyTables, error_m: float) -> Hits:
        """Return what may have been hit there.

        Raises
        ------
        BadWorkError, BadInputError
            When the place is not in the network.
        """
        from netplan.emergency.hit_places import hits_at, hits_at_address, hits_on_main

        if self.at is not None:
            return hits_at(tables.boxes, *self.at, error_m)
        if self.main:
            return hits_on_main(tables.network, self.main, self.at_m or 0.0)
        return hits_at_address(tables.boxes, self.address, error_m)
