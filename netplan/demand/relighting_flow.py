"""Relighting together is a load too: the flow of every customer while some are relit."""

from __future__ import annotations

import numpy as np

from netplan.core.arrays import Flags, Floats, Ints
from netplan.demand.group_diversity import DiversityGroups, uplift
from netplan.demand.hourly_demand import W_PER_KW, DemandResult
from netplan.demand.load_profile import hour_factor

__all__ = ["relight_flow"]


def relight_flow(
    result: DemandResult, back_on: Flags, hour: int | None = None, part: Ints | DiversityGroups | None = None
) -> Floats:
    """Return every customer's flow while `back_on` ones are relit [m³/s at 15 °C, 101.325 kPa].

    Cold houses all heat at once, so that neither weather nor diversity helps: each draws the rules'
    ``demand.relight`` share of its peak, and never less than in the hour itself. The peak is peak_kw where
    it is recorded, else the customer's greatest hour of the design day with the uplift of a single meter.
    The others draw what they do in that hour. That cold houses all heat at once is common practice, without
    a published figure.

    Parameters
    ----------
    result : DemandResult
        Demand of the window.
    back_on : bool array, shape (customers,)
        Customers that come back together.
    hour : int, optional
        Row of the hour in the window; default that of the greatest total.
    part : int array, shape (customers,), or DiversityGroups, optional
        Label of the part of the network that feeds each customer; one part if not given.

    Returns
    -------
    float array, shape (customers,)
    """
    flow = result.flow_m3_per_s_std(hour, part)
    share = result.rules.demand.relight * (1.0 + result.rules.demand.margin)
    return np.where(back_on, np.maximum(flow, share * _peak(result)), flow)


def _peak(result: DemandResult) -> Floats:
    records, rules = result.records, result.rules
    design = rules.demand.design_air_temp_c - rules.demand.forecast_margin_c
    single = float(uplift(1.0, rules))
    peak = np.zeros(len(result))
    for code, name in enumerate(records.profiles):
        greatest = max(hour_factor(name, hour, -1, design) for hour in range(24))
        rows = records.profile == code
        peak[rows] = result.mean_m3_per_s_std[rows] * greatest * single
    recorded = records.known_peak_kw * W_PER_KW / result.hs_j_per_m3_std
    return np.where(np.isnan(recorded), peak, np.fmax(recorded, 0.0))
