"""What is asked when the bypasses of a planned option are sized anew."""

from __future__ import annotations

from dataclasses import dataclass

from netplan.core.errors import BadInputError

__all__ = ["ResizeRequest"]


@dataclass(frozen=True, slots=True)
class ResizeRequest:
    """What is to be different from the plan; None leaves it as planned.

    Parameters
    ----------
    air_temp_c : float or None
        Air temperature in every hour of the window [°C], before the rules' forecast margin.
    bores_mm : tuple of float or None
        Sizes to choose from [mm].
    hose_length_m : float or None
        Length of every bypass and hose [m].
    minimum_mbar : float or None
        Minimum pressure at a meter inlet [mbar gauge]; the rules' margin comes on top.

    Raises
    ------
    BadInputError
        When one of them is impossible.
    """

    air_temp_c: float | None = None
    bores_mm: tuple[float, ...] | None = None
    hose_length_m: float | None = None
    minimum_mbar: float | None = None

    def __post_init__(self) -> None:
        for name, value, low, high, unit in (
            ("--air-temp", self.air_temp_c, -60.0, 60.0, "°C"),
            ("--hose-length", self.hose_length_m, 0.1, 10_000.0, "m"),
            ("--minimum-mbar", self.minimum_mbar, 0.1, 1000.0, "mbar"),
        ):
            if value is not None and not low <= value <= high:
                raise BadInputError(f"{name} {value:g}: not between {low:g} and {high:g} {unit}; correct it")
        bores = (1.0,) if self.bores_mm is None else self.bores_mm
        if not bores or not all(0.0 < bore <= 1000.0 for bore in bores):
            raise BadInputError("--bores: give sizes above 0 and up to 1000 mm, separated by commas")
