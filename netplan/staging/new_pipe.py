"""Which stops of a stage lie where an earlier stage has laid new pipe."""

from __future__ import annotations

from collections.abc import Sequence

from netplan.network.work_section import WorkPart
from netplan.planfile.model import Stop

__all__ = ["stops_in_new_pipe"]


def stops_in_new_pipe(
    stops: Sequence[Stop], renewed: Sequence[tuple[int, Sequence[WorkPart]]]
) -> dict[str, int]:
    """Return the stage that has renewed the main where a stop is, by the id of the stop.

    Parameters
    ----------
    stops : sequence of Stop
    renewed : sequence of (int, sequence of WorkPart)
        Number and work of each earlier stage.
    """
    return {
        stop.id: number
        for stop in stops
        for number, parts in renewed
        if any(part.main_id == stop.main_id and part.from_m <= stop.chainage_m <= part.to_m for part in parts)
    }
