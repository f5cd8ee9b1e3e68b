"""The demand of a plan's customers from their recorded energy and power, by the plan's own rules."""

from __future__ import annotations

from datetime import datetime

import numpy as np

from netplan.core.errors import BadInputError
from netplan.demand import DemandResult, Window, customer_demand
from netplan.hydraulics.recorded_network import gas_of
from netplan.network.model import Customers
from netplan.network.text_column import TextColumn
from netplan.network.vocabulary import Category
from netplan.planfile import StateCustomers
from netplan.planfile.model import Plan
from netplan.reference.gas import METRIC_STANDARD
from netplan.rules import Rules

__all__ = ["recorded_demand"]


def recorded_demand(plan: Plan, rules: Rules, customers: StateCustomers) -> DemandResult:
    """Return the demand of a state's customers over the plan's window, as if all of them drew.

    Parameters
    ----------
    plan : Plan
    rules : Rules
        Those it was planned by.
    customers : StateCustomers

    Raises
    ------
    BadInputError
        When a customer's category is not known.
    """
    conditions = plan.conditions
    start = None if conditions.start is None else datetime.fromisoformat(conditions.start)
    window = Window(start, conditions.hours, conditions.air_temp_c)
    heat = gas_of(rules).gross_calorific_value_j_per_m3(METRIC_STANDARD)
    return customer_demand(_records(customers), window, rules, heat)


def _records(rows: StateCustomers) -> Customers:
    count = len(rows)
    words, empty = list(Category.words()), TextColumn([""] * count)
    try:
        category = np.array([words.index(word) for word in rows.category], dtype=np.uint8)
    except ValueError:
        raise BadInputError("plan.gpkg: a customer's category is not known; make the plan again") from None
    return Customers(
        id=rows.customer_id,
        address=empty,
        street=empty,
        number=empty,
        postcode=empty,
        category=category,
        priority=empty,
        priority_note=empty,
        meters=rows.meters.astype(np.int32),
        annual_kwh=rows.annual_kwh,
        peak_kw=rows.peak_kw,
        service_regulator=np.zeros(count, dtype=np.uint8),
        language=empty,
        x_m=np.zeros(count),
        y_m=np.zeros(count),
        attach_start=np.zeros(count + 1, dtype=np.int32),
        attach_node=np.zeros(0, dtype=np.int32),
        attached_by=np.zeros(count, dtype=np.uint8),
    )
