"""The gas that the rules name or compose."""

from __future__ import annotations

from netplan.reference.gas import Gas, gas_from_composition, named_gas
from netplan.rules.rule_set import Rules

__all__ = ["gas_of"]


def gas_of(rules: Rules) -> Gas:
    """Return the gas of the rules."""
    if rules.gas.composition is not None:
        return gas_from_composition(rules.gas.composition)
    return named_gas(str(rules.gas.name))
