"""The fall of pressure along a bypass at its planned flow: with air before it is coupled, with gas after."""

from __future__ import annotations

from typing import Final, Literal

from netplan.outputs.number_format import Figures
from netplan.outputs.work_day.expected_reading import printed_mbar
from netplan.outputs.work_day.log_file import DropEntry
from netplan.planfile.model import FeedTest, Step
from netplan.procedure.step_kinds import Stage

__all__ = ["drop_fault", "drop_medium", "most_drop_mbar"]

_NOISE_MBAR: Final = 1e-6


def drop_medium(step: Step) -> Literal["air", "gas"]:
    """Return what the drop of a step is measured with: air as long as the bypass is not coupled."""
    return "air" if step.stage in (Stage.FEED_TESTED, Stage.FEED_MEASURED) else "gas"


def most_drop_mbar(step: Step, test: FeedTest, units: Figures) -> float:
    """Return the greatest drop that passes at a step, as printed in some units [mbar]."""
    most = test.most_air_mbar if drop_medium(step) == "air" else test.most_mbar
    return printed_mbar(most, "down", units) or 0.0


def drop_fault(step: Step, test: FeedTest, entry: DropEntry | None, units: Figures) -> str:
    """Return what is wrong with the drop that was measured at a step; empty where nothing is."""
    if entry is None:
        return f"drop along {test.feed_id} not measured"
    most = most_drop_mbar(step, test, units)
    return f"drop along {test.feed_id} above the most" if entry.mbar > most + _NOISE_MBAR else ""
