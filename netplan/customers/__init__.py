"""Who is affected, in what order, from when to when; knows nothing of stops or flow.

queue = relight_order(customer_id, address, street, number, postcode, priority, meters,
                      price_per_meter_hour) -> RelightOrder   # .order, .visit, .meters
queue.back_on_h(relights_per_hour)
times = off_on_times(queue, start=datetime | None, off_from_min=80.0, gas_back_min=430.0,
                     relights_per_hour=12.0, overrun=1.25) -> OffOnTimes   # .off_from, .on_by (input order)
day_end_after_min(start, hours, "20:00")                      # end of the crew's day, minutes after the start
address_groups(address, street, number, postcode)             # house of each customer; flats share one
natural_key(text), walking_key(street, number, address, id)   # sort keys: 2 before 10
priority_rank(code), priority_codes()
"""

from netplan.customers.relight_order import (
    EARLIEST_START_H,
    OffOnTimes,
    PriorityCode,
    RelightOrder,
    day_end_after_min,
    meters_of_round,
    off_on_times,
    priority_codes,
    priority_rank,
    relight_order,
    relight_rounds,
)
from netplan.customers.walking_order import address_groups, natural_key, walking_key

__all__ = [
    "EARLIEST_START_H",
    "OffOnTimes",
    "PriorityCode",
    "RelightOrder",
    "address_groups",
    "day_end_after_min",
    "meters_of_round",
    "natural_key",
    "off_on_times",
    "priority_codes",
    "priority_rank",
    "relight_order",
    "relight_rounds",
    "walking_key",
]
