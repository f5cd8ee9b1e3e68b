"""The operator's planning rules: one TOML file, every value with unit and source."""

from netplan.rules.read_rules import checked_rules, default_rules, default_rules_text, read_rules
from netplan.rules.rule_set import ExcavationRules, MethodKind, Rules, StopMethod

__all__ = [
    "ExcavationRules",
    "MethodKind",
    "Rules",
    "StopMethod",
    "checked_rules",
    "default_rules",
    "default_rules_text",
    "read_rules",
]
