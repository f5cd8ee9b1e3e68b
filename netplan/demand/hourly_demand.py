"""Hourly flow of every customer over the window of the work."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from netplan.core.arrays import Floats, Ints
from netplan.core.constants import SECONDS_PER_HOUR
from netplan.core.errors import BadInputError
from netplan.core.findings import Finding
from netplan.demand.demand_records import PEAK_PROFILE, DemandRecords, check_records
from netplan.demand.group_diversity import (
    DiversityGroups,
    UnlistedCustomers,
    diversity_of,
    part_counts,
    uplift,
)
from netplan.demand.hours_and_weather import HourOfWindow, Window, window_hours
from netplan.demand.load_profile import customer_value_kwh_per_day, hour_factor
from netplan.network.model import Customers
from netplan.network.vocabulary import Category
from netplan.reference.profiles import ClimateMonth
from netplan.rules.rule_set import Rules

__all__ = ["DemandResult", "DemandShare", "customer_demand"]

J_PER_KWH = 3.6e6
W_PER_KW = 1000.0


@dataclass(frozen=True, slots=True)
class DemandShare:
    """One named part of the demand of an hour.

    Parameters
    ----------
    name : str
        Category, and what its demand is worked out from.
    customers : int
        How many.
    flow_m3_per_s_std : float
        Flow with uplift, diversity and the rules' margin [m³/s at 15 °C, 101.325 kPa].
    """

    name: str
    customers: int
    flow_m3_per_s_std: float


@dataclass(frozen=True, slots=True, eq=False)
class DemandResult:
    """Demand of every customer in every hour of the window, at reference conditions 15 °C, 101.325 kPa.

    Parameters
    ----------
    records : DemandRecords
        Checked data, one row a customer.
    rules : Rules
        Uplift, margins and weather in use.
    hours : tuple of HourOfWindow
        Hours of the window, with the air temperature forecast or given.
    factors : float array, shape (hours, profiles)
        Factor of each profile in each hour, forecast margin included [1/h].
    mean_m3_per_s_std : float array, shape (customers,)
        Flow at a factor of one; 0 where peak_kw is used.
    peak_m3_per_s_std : float array, shape (customers,)
        Flow at peak_kw; 0 where the yearly energy is used.
    hs_j_per_m3_std : float
        Superior calorific value [J/m³ at 15 °C, 101.325 kPa].
    profile_mean_m3_per_s_std : float array, shape (profiles,)
        Flow at a factor of one of all customers of a profile, by which hours are compared; NaN for a profile
        that nobody has.
    elsewhere : Elsewhere, optional
        Customers fed together with these that are not among them.
    """

    records: DemandRecords
    rules: Rules
    hours: tuple[HourOfWindow, ...]
    factors: Floats
    mean_m3_per_s_std: Floats
    peak_m3_per_s_std: Floats
    hs_j_per_m3_std: float
    profile_mean_m3_per_s_std: Floats
    elsewhere: UnlistedCustomers | None = None

    def __len__(self) -> int:
        return len(self.mean_m3_per_s_std)

    @property
    def findings(self) -> tuple[Finding, ...]:
        """Bad demand data, in order."""
        return self.records.findings

    @property
    def worst_hour(self) -> int:
        """Row in `hours` of the greatest total; the first of several."""
        # Uplift and peaks are the same in every hour: the profiles alone decide.
        total = self.factors @ np.nan_to_num(self.profile_mean_m3_per_s_std)
        return int(np.argmax(np.round(total, 12)))

    def hours_to_check(self) -> tuple[int, ...]:
        """Return the hours that no other hour of the window beats for every profile at once.

        What holds in these holds in all: a part of the network may have its worst hour when the whole
        does not.
        """
        used = self.factors[:, ~np.isnan(self.profile_mean_m3_per_s_std)]
        if used.shape[1] == 0:
            return (0,)
        keep = []
        for row in range(len(used)):
            at_least = (used >= used[row]).all(axis=1)
            more = at_least & (used > used[row]).any(axis=1)
            twin_before = at_least[:row] & (used[:row] == used[row]).all(axis=1)
            if not more.any() and not twin_before.any():
                keep.append(row)
        return tuple(keep)

    def flow_m3_per_s_std(
        self, hour: int | None = None, part: Ints | DiversityGroups | None = None, *, margin: bool = True
    ) -> Floats:
        """Return the flow of every customer in an hour [m³/s at 15 °C, 101.325 kPa].

        Parameters
        ----------
        hour : int, optional
            Row in `hours`; default the worst hour.
        part : int array, shape (customers,), or DiversityGroups, optional
            Label of the part of the network that feeds each customer; one part if not given. Those of one
            label share their uplift and diversity.
        margin : bool
            Whether the rules' ``demand.margin`` is added.

        Returns
        -------
        float array, shape (customers,)
        """
        records = self.records
        given = part.part if isinstance(part, DiversityGroups) else part
        label = np.zeros(len(self), dtype=np.int64) if given is None else np.asarray(given, dtype=np.int64)
        row = self.worst_hour if hour is None else hour
        by_peak = records.profile == PEAK_PROFILE
        factor = self.factors[row][records.profile]
        meters = part_counts(label, by_peak.astype(np.int64), 2, records.meters)
        kind_group = records.kind
        besides = np.zeros(len(label))
        if self.elsewhere is not None and isinstance(part, DiversityGroups):
            besides = self.elsewhere.counts(part.elsewhere, label, kind_group)
            meters = meters + besides
        flow: Floats = self.mean_m3_per_s_std * factor * uplift(meters, self.rules)
        peak = np.flatnonzero(by_peak)
        if peak.size:
            of_kind = part_counts(label, kind_group, len(Category) + 1, records.meters)[peak] + besides[peak]
            flow[peak] = self.peak_m3_per_s_std[peak] * diversity_of(of_kind)
        return flow * (1.0 + self.rules.demand.margin) if margin else flow

    def parts(
        self, hour: int | None = None, part: Ints | DiversityGroups | None = None
    ) -> tuple[DemandShare, ...]:
        """Return the demand of an hour by category and kind of record; the parts add up to the total."""
        flow = self.flow_m3_per_s_std(hour, part)
        found = []
        for category in Category:
            for code in (*range(len(self.records.profiles)), PEAK_PROFILE):
                rows = (self.records.category == category) & (self.records.profile == code)
                if rows.any():
                    basis = (
                        "peak_kw with diversity"
                        if code == PEAK_PROFILE
                        else f"profile {self.records.profiles[code]}"
                    )
                    found.append(
                        DemandShare(f"{category.word}, {basis}", int(rows.sum()), float(flow[rows].sum()))
                    )
        return tuple(found)

    def of_some(self, rows: Ints, group: Ints, groups: int) -> DemandResult:
        """Return the demand of some customers, fed together with others.

        Hours are compared by the demand of all.

        Parameters
        ----------
        rows : int array
            The customers.
        group : int array, shape (customers,)
            Group of others that each customer belongs to; -1 for those that are in none.
        groups : int
            How many groups there are.
        """
        records, others = self.records, np.flatnonzero(group >= 0)
        kind = records.kind
        kinds = len(Category) + 1
        meters: Floats = np.bincount(
            group[others] * kinds + kind[others], weights=records.meters[others], minlength=groups * kinds
        ).astype(float)
        return replace(
            self,
            records=records.of_some(rows),
            mean_m3_per_s_std=self.mean_m3_per_s_std[rows],
            peak_m3_per_s_std=self.peak_m3_per_s_std[rows],
            elsewhere=UnlistedCustomers(meters.reshape(groups, kinds)),
        )

    def shares_elsewhere(self, together: DiversityGroups) -> Floats:
        """Return by what groups elsewhere draw with so many on: diversity by kind, then uplift [-].

        Parameters
        ----------
        together : DiversityGroups

        Returns
        -------
        float array, shape (groups, categories + 1)
            1 where a group has no meters of a kind.
        """
        if self.elsewhere is None:
            return np.ones((0, len(Category) + 1))
        records, own = self.records, self.elsewhere.meters
        kind = records.kind
        total = np.zeros(own.shape)
        for row, label in enumerate(together.elsewhere.tolist()):
            on = together.part == label
            here = np.bincount(kind[on], weights=records.meters[on], minlength=own.shape[1])
            total[row] = here + own[together.elsewhere == label].sum(axis=0)
        return np.where(own > 0.0, self.shares_of(total), 1.0)

    def shares_of(self, meters: Floats) -> Floats:
        """Return what so many meters reach together: diversity by kind of peak, then uplift of a mean [-].

        Parameters
        ----------
        meters : float array, shape (groups, categories + 1)
            Meters with a peak by category, then all others.
        """
        return np.column_stack([diversity_of(meters[:, :-1]), uplift(meters[:, -1], self.rules)])

    def by_kind_m3_per_s_std(self, hour: int) -> Floats:
        """Return what each customer draws without uplift and diversity, in the column of its kind.

        Parameters
        ----------
        hour : int
            Row in `hours`.

        Returns
        -------
        float array, shape (customers, categories + 1)
            Margin included [m³/s at 15 °C, 101.325 kPa].
        """
        records = self.records
        flow = self.mean_m3_per_s_std * self.factors[hour][records.profile]
        flow = np.where(records.profile == PEAK_PROFILE, self.peak_m3_per_s_std, flow)
        found = np.zeros((len(self), len(Category) + 1))
        found[np.arange(len(self)), records.kind] = flow * (1.0 + self.rules.demand.margin)
        return found

    def at_air_temp(self, air_temp_c: float) -> DemandResult:
        """Return the demand of the same customers and hours at another air temperature [°C]."""
        hours = tuple(replace(hour, air_temp_c=air_temp_c) for hour in self.hours)
        return replace(self, hours=hours, factors=_factors(self.records, hours, self.rules))


def customer_demand(
    customers: Customers,
    window: Window,
    rules: Rules,
    hs_j_per_m3_std: float,
    climate: tuple[ClimateMonth, ...] | None = None,
) -> DemandResult:
    """Work out the demand of customers for the window of the work.

    Parameters
    ----------
    customers : Customers
        The customers' table of a network.
    window : Window
        Hours and weather; the rules fill what it leaves open.
    rules : Rules
        Planning rules; the rules' ``demand.forecast_margin_c`` is taken off every air temperature.
    hs_j_per_m3_std : float
        Superior calorific value of the gas [J/m³ at 15 °C, 101.325 kPa], because yearly energy is sold by it.
    climate : tuple of ClimateMonth, optional
        Reference year of the yearly energies; default the shipped example.

    Raises
    ------
    BadInputError
        When the window or the calorific value is impossible.
    """
    if not (np.isfinite(hs_j_per_m3_std) and hs_j_per_m3_std > 0):
        raise BadInputError(f"gas: calorific value {hs_j_per_m3_std:g} J/m³ is not above 0; correct the gas")
    hours = window_hours(window, rules)
    records = check_records(customers)
    value = np.zeros(len(records.profile))
    for code, name in enumerate(records.profiles):
        rows = records.profile == code
        value[rows] = customer_value_kwh_per_day(records.annual_kwh[rows], name, climate)
    mean = value * J_PER_KWH / hs_j_per_m3_std / SECONDS_PER_HOUR
    return DemandResult(
        records=records,
        rules=rules,
        hours=hours,
        factors=_factors(records, hours, rules),
        mean_m3_per_s_std=mean,
        peak_m3_per_s_std=records.peak_kw * W_PER_KW / hs_j_per_m3_std,
        hs_j_per_m3_std=hs_j_per_m3_std,
        profile_mean_m3_per_s_std=_by_profile(records, mean),
    )


def _by_profile(records: DemandRecords, mean_m3_per_s_std: Floats) -> Floats:
    rows = np.flatnonzero(records.profile != PEAK_PROFILE)
    profile, count = records.profile[rows], len(records.profiles)
    sums = np.bincount(profile, weights=mean_m3_per_s_std[rows], minlength=count)
    return np.where(np.bincount(profile, minlength=count) > 0, sums, np.nan)


def _factors(records: DemandRecords, hours: tuple[HourOfWindow, ...], rules: Rules) -> Floats:
    return np.array(
        [
            [
                hour_factor(name, hour.hour, hour.weekday, hour.air_temp_c - rules.demand.forecast_margin_c)
                for name in records.profiles
            ]
            for hour in hours
        ]
    )
