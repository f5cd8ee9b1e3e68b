"""What each customer's record says about demand, what is wrong with it, and what is used instead."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from netplan.core.arrays import Flags, Floats
from netplan.core.findings import Finding, Severity, in_order
from netplan.network.model import Customers
from netplan.network.vocabulary import Category
from netplan.reference.profiles import CategoryFigures, category_figures

__all__ = ["PEAK_PROFILE", "DemandRecords", "check_records"]

PEAK_PROFILE: Final = -1
"""Profile code of a customer whose peak_kw is used."""
HOURS_PER_YEAR: Final = 8760.0
LEAST_FULL_LOAD_HOURS: Final = 50.0
"""Yearly energy over peak below which the two records contradict each other [h/a]: example."""


@dataclass(frozen=True, slots=True, eq=False)
class DemandRecords:
    """Checked demand data, one row a customer.

    Parameters
    ----------
    profiles : tuple of str
        Names of the profiles that `profile` points to.
    profile : int8 array
        Row in `profiles`, or `PEAK_PROFILE` where peak_kw is used.
    category : uint8 array
        Code of `vocabulary.Category`.
    meters : float array
        Meters, at least 1.
    annual_kwh : float array
        Yearly energy in use [kWh]; 0 where peak_kw is used.
    peak_kw : float array
        Peak power in use [kW]; 0 where the yearly energy is used.
    known_peak_kw : float array
        Recorded peak power that is believed [kW], whichever is in use; NaN where there is none.
    findings : tuple of Finding
        Bad data, each with the customer's id and what is used instead.
    """

    profiles: tuple[str, ...]
    profile: NDArray[np.int8]
    category: NDArray[np.uint8]
    meters: Floats
    annual_kwh: Floats
    peak_kw: Floats
    known_peak_kw: Floats
    findings: tuple[Finding, ...]

    @property
    def kind(self) -> NDArray[np.int64]:
        """With what a meter shares its diversity: its category with a peak in use, else one kind for all."""
        by_peak = self.profile == PEAK_PROFILE
        return np.where(by_peak, self.category.astype(np.int64), len(Category))

    def of_some(self, rows: NDArray[np.int64]) -> DemandRecords:
        """Return the records of some customers; the findings stay those of all."""
        columns = ("profile", "category", "meters", "annual_kwh", "peak_kw", "known_peak_kw")
        return replace(self, **{name: getattr(self, name)[rows] for name in columns})


@dataclass(frozen=True, slots=True)
class _Fault:
    code: str
    what: str
    rows: Flags


def check_records(customers: Customers) -> DemandRecords:
    """Check the demand data of customers and decide what to use of each.

    Yearly energy is used where it is good, because it follows the weather; of industry the peak, because a
    process does not. Where neither can be used, the category's figure for each meter stands in. Where both
    are good but contradict each other, the one that gives more is used.

    Returns
    -------
    Records
        One row a customer, in the order of `customers`.
    """
    table = _category_table()
    category = np.minimum(customers.category, len(table) - 1).astype(np.uint8)
    meters = np.maximum(customers.meters, 1).astype(float)
    annual = np.asarray(customers.annual_kwh, dtype=float)
    peak = np.asarray(customers.peak_kw, dtype=float)
    annual_faults, annual_good = _faults("annual_kwh", annual, meters, _column(table, category, "annual_kwh"))
    peak_faults, peak_good = _faults("peak_kw", peak, meters, _column(table, category, "peak_kw"))
    contradict = annual_good & peak_good & _contradict(annual, peak)
    use_peak = peak_good & (~annual_good | (category == Category.INDUSTRY))
    # Mean power above the peak: the energy gives more. Hardly any use of the peak: the peak does.
    with np.errstate(invalid="ignore"):
        too_lazy = contradict & (annual < LEAST_FULL_LOAD_HOURS * peak)
    use_peak = np.where(contradict, too_lazy, use_peak)
    use_default = ~annual_good & ~peak_good
    default = np.array([figures.annual_kwh for figures in table])[category] * meters
    profiles, profile = _profiles(table, category, meters)
    return DemandRecords(
        profiles=profiles,
        profile=np.where(use_peak, PEAK_PROFILE, profile).astype(np.int8),
        category=category,
        meters=meters,
        annual_kwh=np.where(
            use_peak, 0.0, np.where(use_default, default, np.where(annual_good, annual, 0.0))
        ),
        peak_kw=np.where(use_peak, peak, 0.0),
        known_peak_kw=np.where(peak_good, peak, np.nan),
        findings=_findings(
            customers,
            [*annual_faults, *peak_faults, *_joint_faults(annual, peak, contradict)],
            use_peak,
            use_default,
            default,
        ),
    )


def _category_table() -> list[CategoryFigures]:
    figures = category_figures()
    return [figures[member.word] for member in Category]


def _column(table: list[CategoryFigures], category: NDArray[np.uint8], what: str) -> tuple[Floats, Floats]:
    least = np.array([getattr(figures, f"least_{what}") for figures in table])
    most = np.array([getattr(figures, f"most_{what}") for figures in table])
    return least[category], most[category]


def _faults(
    name: str, values: Floats, meters: Floats, bounds: tuple[Floats, Floats]
) -> tuple[list[_Fault], Flags]:
    least, most = bounds
    recorded = ~np.isnan(values)
    with np.errstate(invalid="ignore"):
        negative = recorded & (values < 0)
        absurd = recorded & ~negative & ((values < least) | (values > most * meters))
    slug = name.replace("_", "-")
    faults = [
        _Fault(f"negative-{slug}", f"{name} is below zero", negative),
        _Fault(f"absurd-{slug}", f"{name} is out of range for its category", absurd),
    ]
    return faults, recorded & ~negative & ~absurd


def _contradict(annual: Floats, peak: Floats) -> Flags:
    return np.asarray((annual > HOURS_PER_YEAR * peak) | (annual < LEAST_FULL_LOAD_HOURS * peak), dtype=bool)


def _joint_faults(annual: Floats, peak: Floats, contradict: Flags) -> list[_Fault]:
    missing = np.isnan(annual) & np.isnan(peak)
    return [
        _Fault("missing-demand", "neither annual_kwh nor peak_kw is recorded", missing),
        _Fault("contradicting-demand", "annual_kwh and peak_kw cannot both be right", contradict),
    ]


def _profiles(
    table: list[CategoryFigures], category: NDArray[np.uint8], meters: Floats
) -> tuple[tuple[str, ...], NDArray[np.int8]]:
    names = tuple(sorted({f.profile for f in table} | {f.many_meters_profile for f in table}))
    plain = np.array([names.index(f.profile) for f in table])[category]
    many = np.array([names.index(f.many_meters_profile) for f in table])[category]
    from_meters = np.array([f.many_meters or np.inf for f in table])[category]
    return names, np.where(meters >= from_meters, many, plain).astype(np.int8)


def _findings(
    customers: Customers, faults: list[_Fault], use_peak: Flags, use_default: Flags, default: Floats
) -> tuple[Finding, ...]:
    found: list[Finding] = []
    for fault in faults:
        for row in np.flatnonzero(fault.rows):
            used = _used(int(row), use_peak, use_default, default)
            found.append(
                Finding(
                    code=fault.code,
                    layer="customers",
                    feature_id=customers.id[row],
                    severity=Severity.WARNING,
                    what=f"{fault.what} ({_recorded(customers, int(row))}); {used}",
                    mend="correct the record",
                    x_m=float(customers.x_m[row]),
                    y_m=float(customers.y_m[row]),
                )
            )
    return in_order(found)


def _recorded(customers: Customers, row: int) -> str:
    pairs = (("annual_kwh", customers.annual_kwh[row]), ("peak_kw", customers.peak_kw[row]))
    said = [f"{name} {value:g}" for name, value in pairs if not np.isnan(value)]
    return ", ".join(said) or "no figure"


def _used(row: int, use_peak: Flags, use_default: Flags, default: Floats) -> str:
    if use_default[row]:
        return f"the category's {default[row]:g} kWh a year is used"
    return "its peak_kw is used" if use_peak[row] else "its annual_kwh is used"
