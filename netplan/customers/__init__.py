"""Who is affected, in what order, from when to when; knows nothing of stops or flow.

queue = relight_order(customer_id, address, street, number, postcode, priority, meters,
                      price_per_meter_hour) -> RelightOrder   # .order, .visit, .meters
queue.back_on_h(relights_per_hour), queue.crew_hours(…)
times = off_on_times(queue, start=datetime | None, hours=9.0, relights_per_hour=12.0,
                     day_end="20:00") -> OffOnTimes           # .off_from, .on_by (input order), .fits
address_groups(address, street, number, postcode)             # house of each customer; flats share one
natural_key(text), walking_key(street, number, address, id)   # sort keys: 2 before 10
priority_rank(code), priority_codes()
"""

from netplan.customers.relight_order import (
    EARLIEST_START_H,
    OffOnTimes,
    PriorityCode,
    RelightOrder,
    most_meters,
    off_on_times,
    priority_codes,
    priority_rank,
    relight_order,
)
from netplan.customers.walking_order import address_groups, natural_key, walking_key

__all__ = [
    "EARLIEST_START_H",
    "OffOnTimes",
    "PriorityCode",
    "RelightOrder",
    "address_groups",
    "most_meters",
    "natural_key",
    "off_on_times",
    "priority_codes",
    "priority_rank",
    "relight_order",
    "walking_key",
]
