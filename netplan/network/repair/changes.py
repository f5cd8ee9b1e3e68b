"""What was changed, and what was left and why."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from netplan.network.raw_layers import RawLayer

__all__ = ["Change", "Mended"]


@dataclass(frozen=True, slots=True, order=True)
class Change:
    """One thing done to a feature, or left.

    Parameters
    ----------
    layer, feature_id : str
    code : str
        Code of the finding that it answers.
    what : str
        What was done, or why nothing was, in one line.
    x_m, y_m : float or None
        Place in the working CRS [m].
    """

    layer: str
    feature_id: str
    code: str
    what: str
    x_m: float | None = None
    y_m: float | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Mended:
    """Mended layers.

    Parameters
    ----------
    layers : mapping
        Raw layers by name; what was not changed is as it was.
    changes : tuple of Change
        Everything that was done, by layer and feature.
    left : tuple of Change
        What looked alike but was not safe, each with the reason.
    """

    layers: Mapping[str, RawLayer]
    changes: tuple[Change, ...]
    left: tuple[Change, ...]
