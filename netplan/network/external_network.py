"""What lies beyond a subnetwork of a large network, and where the two meet."""

from __future__ import annotations

from dataclasses import dataclass

from netplan.core.arrays import Flags, Floats, Ints32

__all__ = ["ExternalNetwork"]


@dataclass(frozen=True, slots=True, eq=False)
class ExternalNetwork:
    """What lies beyond the boundary of a network that was taken out of a larger one: always fed.

    Parameters
    ----------
    node : int32 array
        Nodes at the boundary, one row for each piece that leads beyond it.
    part : int32 array
        Number of the part beyond the boundary that each of them is joined to, from 0.
    fault_pa_gauge : float array
        Of each part: the most that a station beyond can give in a fault [Pa gauge]; NaN where injections
        alone feed it.
    fault_is_missing : bool array
        Whether a station of the part has no such figure on record.
    outlet_low_pa_gauge, outlet_high_pa_gauge : float arrays
        Of each part: least and greatest set outlet of its stations [Pa gauge]; NaN without any.
    least_mop_pa_gauge : float array
        Of each part: least recorded operating limit of its mains [Pa gauge]; NaN where none is.
    system_outlet_pa_gauge : float array, shape (systems,)
        Greatest set outlet of the stations beyond [Pa gauge]; NaN without any.
    """

    node: Ints32
    part: Ints32
    fault_pa_gauge: Floats
    fault_is_missing: Flags
    outlet_low_pa_gauge: Floats
    outlet_high_pa_gauge: Floats
    least_mop_pa_gauge: Floats
    system_outlet_pa_gauge: Floats
