"""The operator's planning rules: one TOML file, every value with unit and source."""

from netplan.rules.model import MethodKind, Rules, StopMethod
from netplan.rules.read import checked_rules, default_rules, default_rules_text, read_rules

__all__ = [
    "MethodKind",
    "Rules",
    "StopMethod",
    "checked_rules",
    "default_rules",
    "default_rules_text",
    "read_rules",
]
