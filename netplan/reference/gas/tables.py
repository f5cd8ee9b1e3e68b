"""Making a gas: from a composition, or by the name of an example."""

from __future__ import annotations

import csv
import math
from collections.abc import Mapping
from functools import lru_cache
from importlib import resources

from netplan.core.errors import BadInputError, quoted
from netplan.reference.gas.components import components
from netplan.reference.gas.mixture import Gas

__all__ = ["gas_from_composition", "gas_names", "named_gas"]

SUM_TOLERANCE = 1e-3


def gas_from_composition(fractions: Mapping[str, float], name: str = "gas") -> Gas:
    """Return the gas of a composition.

    Parameters
    ----------
    fractions : mapping of str to float
        Mole fraction of each component [-]; they must sum to 1 within 0.001 and are then scaled to 1.
    name : str
        What to call it.

    Raises
    ------
    BadInputError
        For an unknown component, a fraction that is no number from 0 to 1, or a wrong sum.
    """
    table = components()
    unknown = sorted(set(fractions) - set(table))
    if unknown:
        raise BadInputError(
            f"gas {name}: component {quoted(unknown[0])} is not known; use one of {', '.join(table)}"
        )
    for key in sorted(fractions):
        value = fractions[key]
        if not math.isfinite(value) or not 0.0 <= value <= 1.0:
            raise BadInputError(f"gas {name}: fraction of {key} is {value}; give a mole fraction from 0 to 1")
    total = math.fsum(fractions.values())
    if abs(total - 1.0) > SUM_TOLERANCE:
        raise BadInputError(f"gas {name}: mole fractions sum to {total:.6g}; make them sum to 1")
    # In table order, so that two spellings of one composition give the same figures.
    return Gas(tuple((key, fractions[key] / total) for key in table if fractions.get(key, 0.0) > 0.0), name)


@lru_cache(maxsize=1)
def _examples() -> dict[str, Gas]:
    text = resources.files("netplan.reference.gas").joinpath("examples.csv").read_text(encoding="utf-8")
    gases = {}
    for row in csv.DictReader(text.splitlines()):
        fractions = {key: float(value) for key, value in row.items() if key not in ("name", "source")}
        gases[row["name"]] = gas_from_composition(fractions, row["name"])
    return gases


def gas_names() -> tuple[str, ...]:
    """Return the names of the example gases."""
    return tuple(_examples())


def named_gas(name: str) -> Gas:
    """Return an example gas.

    Raises
    ------
    BadInputError
        When there is no example of that name; the message lists them.
    """
    try:
        return _examples()[name]
    except KeyError:
        raise BadInputError(
            f"gas: no example gas is called {quoted(name)}; "
            f"use one of {', '.join(gas_names())}, or give a composition"
        ) from None
