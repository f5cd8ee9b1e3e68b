"""Doubtful records near an option: what would change if one were wrong, and whose gas hangs on them."""

from netplan.planning.doubtful_records.customers_in_doubt import in_doubt_of
from netplan.planning.doubtful_records.cut_off_pipes import cut_off_services_without_customer
from netplan.planning.doubtful_records.joints_and_valves import NEAR_M
from netplan.planning.doubtful_records.record_effects import effects_if_wrong, option_in_doubt

__all__ = [
    "NEAR_M",
    "cut_off_services_without_customer",
    "effects_if_wrong",
    "in_doubt_of",
    "option_in_doubt",
]
