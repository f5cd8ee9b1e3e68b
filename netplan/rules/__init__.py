"""The operator's planning rules: one TOML file, every value with unit and source."""

from netplan.rules.read_rules import checked_rules, default_rules, default_rules_text, read_rules
from netplan.rules.rule_set import MethodKind, Rules, StopMethod

__all__ = [
    "MethodKind",
    "Rules",
    "StopMethod",
    "checked_rules",
    "default_rules",
    "default_rules_text",
    "read_rules",
]
