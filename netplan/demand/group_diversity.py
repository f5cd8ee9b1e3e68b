"""Groups of customers fed together: the uplift of small ones, the diversity of peaks."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from netplan.core.arrays import Floats, Ints
from netplan.reference.diversity import diversity, diversity_curve
from netplan.rules.rule_set import Rules

__all__ = ["DiversityGroups", "UnlistedCustomers", "diversity_of", "part_counts", "uplift"]


@dataclass(frozen=True, slots=True, eq=False)
class DiversityGroups:
    """Who is fed together, and so shares uplift and diversity.

    Parameters
    ----------
    part : int array, shape (customers,)
        Label of the part of the network that feeds each customer.
    elsewhere : int array, shape (parts elsewhere,)
        Label of each group of customers that are fed with some of them but are not among them.
    """

    part: Ints
    elsewhere: Ints


@dataclass(frozen=True, slots=True, eq=False)
class UnlistedCustomers:
    """Customers that count where meters are counted, without being listed.

    Parameters
    ----------
    meters : float array, shape (groups of customers, kinds)
        Meters of each kind: those with a peak by category, then all others.
    """

    meters: Floats

    def counts(self, label: Ints, part: Ints, kind: Ints) -> Floats:
        """Return for each row the meters of its part and kind that are elsewhere.

        Parameters
        ----------
        label : int array, shape (groups,)
            Part that each group belongs to.
        part, kind : int arrays
            Of each row.
        """
        if not len(label):
            return np.zeros(len(part))
        known, place = np.unique(label, return_inverse=True)
        sums = np.zeros((len(known) + 1, self.meters.shape[1]))
        np.add.at(sums, place.reshape(-1), self.meters)
        at = np.searchsorted(known, part)
        at[known[np.minimum(at, len(known) - 1)] != part] = len(known)
        found: Floats = sums[at, kind]
        return found


def uplift(customers_n: Floats | float, rules: Rules) -> Floats:
    """Return what to raise the profile's hourly mean by for a group of so many meters [-], above 1.

    (1 + small_group / sqrt(n)) · (1 + within_hour), the rules' ``demand.small_group`` and
    ``demand.within_hour``. It falls with n, while n · uplift(n) rises: more customers never need less.
    Below one meter n is taken as one.
    """
    count = np.maximum(np.asarray(customers_n, dtype=float), 1.0)
    raised: Floats = (1.0 + rules.demand.small_group / np.sqrt(count)) * (1.0 + rules.demand.within_hour)
    return raised


def diversity_of(meters_n: Floats | float) -> Floats:
    """Return the share of their summed peak_kw that so many meters of one kind reach together [-]."""
    return diversity(diversity_curve(), meters_n)


def part_counts(part: Ints, group: Ints, group_count: int, weight: Floats) -> Floats:
    """Return for each row the sum of `weight` over the rows of the same part and group."""
    low, high = int(part.min(initial=0)), int(part.max(initial=0))
    if high - low < 4 * len(part) + 4:
        dense = part - low  # labels that lie close together need no sorting
    else:
        dense = np.unique(part, return_inverse=True)[1].reshape(-1)
    key = dense * group_count + group
    sums: Floats = np.bincount(key, weights=weight, minlength=int(key.max(initial=0)) + 1)[key]
    return sums
