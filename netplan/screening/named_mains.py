"""What tells one main from another in the rows of a screen."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any, Final

import numpy as np

from netplan.core.constants import MM_PER_M
from netplan.network.model import Network
from netplan.network.vocabulary import Material
from netplan.screening.screen_settings import ScreenSettings, span_of

__all__ = ["FIGURES_DIGITS", "named_rows"]

FIGURES_DIGITS: Final = 3


def named_rows(network: Network, settings: ScreenSettings, mains: Sequence[int]) -> Iterator[dict[str, Any]]:
    """Yield what tells one main from another, and its work section.

    Parameters
    ----------
    network : Network
    settings : ScreenSettings
    mains : sequence of int
        Rows in the network's pipes.
    """
    pipes = network.pipes
    rows = np.asarray(mains, dtype=np.int64)
    columns = (pipes.system, pipes.material, pipes.od_m, pipes.length_m)
    figures = zip(*(column[rows].tolist() for column in columns), strict=True)
    for name, street, (system, material, od_m, length_m) in zip(
        pipes.id.take(rows), pipes.street.take(rows), figures, strict=True
    ):
        low_m, high_m = span_of(length_m, settings)
        yield {
            "main_id": name,
            "street": street,
            "system": network.systems[system],
            "material": Material(material).word,
            "od_mm": round(od_m * MM_PER_M, 1),
            "length_m": round(length_m, FIGURES_DIGITS),
            "work_from_m": round(low_m, FIGURES_DIGITS),
            "work_to_m": round(high_m, FIGURES_DIGITS),
        }
