"""What one customer draws: from the record, by profile or by peak power, to the demand of the worst hour."""

from __future__ import annotations

from netplan.core.errors import BadInputError
from netplan.demand import DemandResult
from netplan.demand.demand_records import PEAK_PROFILE
from netplan.demand.load_profile import hour_factor
from netplan.explain.explanation_sheet import Explanation, ExplanationSheet
from netplan.explain.recorded_option import RecordedOption, rule_origin, source_line
from netplan.planfile.state_network import recorded_demand
from netplan.reference.diversity import diversity, diversity_curve
from netplan.reference.profiles import profile, profile_sum, reference_climate

__all__ = ["explain_demand"]

_WITHIN = 2e-6


def explain_demand(recorded: RecordedOption, ident: str) -> Explanation:
    """Explain what a customer draws at the worst hour, all margins in.

    Parameters
    ----------
    recorded : RecordedOption
    ident : str
        Id of the customer.

    Raises
    ------
    BadInputError
        When the plan has no such customer, or it draws nothing, or the state holds a part of the network
        alone.
    """
    recorded.state.require_whole("explain what a customer draws")
    customers = recorded.state.customers
    row = customers.customer_id.find(ident)
    if row < 0:
        raise BadInputError(f"demand:{ident[:60]}: plan.gpkg has no such customer; give an id of its layer")
    stated = float(customers.demand_m3h[row])
    if not stated > 0.0:
        raise BadInputError(f"demand:{ident}: draws nothing after the stops; nothing to explain")
    sheet, demand = ExplanationSheet(), recorded_demand(recorded.plan, recorded.rules, customers)
    if demand.records.profile[row] == PEAK_PROFILE:
        _by_peak(sheet, recorded, demand, row)
        keys: tuple[str, ...] = (diversity_curve().source,)
    else:
        _by_profile(sheet, recorded, demand, row)
        keys = ("gas_profiles", "gas_profile_hours")
    margin = rule_origin(recorded.rules, "demand.margin")
    sheet.given("a", recorded.rules.demand.margin, "", "margin on every demand", margin)
    result = sheet.work("q", "q_group * (1 + a)", "m³/h at 15 °C, 101.325 kPa")
    return Explanation(
        figure=f"demand:{ident}",
        title=f"What customer {ident} draws at the worst hour, {recorded.plan.conditions.worst_hour}",
        parts=tuple(sheet.parts),
        result=result,
        unit="m³/h at 15 °C, 101.325 kPa",
        stated=stated,
        where=f"plan.gpkg, layer customers, {ident}, demand_m3h",
        within=_WITHIN * max(1.0, stated),
        notes=("Of a forecast hour by hour the folder holds the mean alone: then this does not come out.",),
        sources=tuple(source_line(key) for key in keys),
    )


def _origin(name: str, customer_id: str) -> str:
    return f"layer customers, {customer_id}, {name}"


def _group(recorded: RecordedOption, demand: DemandResult, row: int, *, by_peak: bool) -> float:
    """Return the meters that share this customer's uplift or diversity."""
    records, part = demand.records, recorded.state.customers.part
    same = (part == part[row]) & ((records.profile == PEAK_PROFILE) == by_peak)
    if by_peak:
        same &= records.category == records.category[row]
    return float(records.meters[same].sum())


def _by_profile(sheet: ExplanationSheet, recorded: RecordedOption, demand: DemandResult, row: int) -> None:
    records, rules = demand.records, recorded.rules.demand
    customer = recorded.state.customers.customer_id[row]
    name = records.profiles[int(records.profile[row])]
    hour = demand.hours[demand.worst_hour]
    cold = hour.air_temp_c - rules.forecast_margin_c
    table = f"tables profiles_*.csv, profile {name} (source gas_profiles)"
    sheet.given("E", records.annual_kwh[row], "kWh/a", "yearly energy", _origin("annual_kwh", customer))
    total = profile_sum(profile(name), reference_climate())
    sheet.given(
        "S", total, "d", "sum of the profile over the reference year", f"{table}; profiles_climate.csv"
    )
    factor = hour_factor(name, hour.hour, hour.weekday, cold)
    words = f"share of a day's value at {cold:g} °C, the forecast margin taken off, greatest over warmer days"
    sheet.given("w", factor, "1/h", words, f"{table} and hours (source gas_profile_hours)")
    _heat(sheet, demand)
    sheet.given(
        "n",
        _group(recorded, demand, row, by_peak=False),
        "",
        "meters fed together",
        "layer customers, part and meters",
    )
    for sign, key in (("s", "small_group"), ("t", "within_hour")):
        sheet.given(sign, getattr(rules, key), "", "uplift", rule_origin(recorded.rules, f"demand.{key}"))
    sheet.work("mean", "E / S * w * 3600000 / Hs", "m³/h", "the profile's mean of the hour")
    sheet.work("q_group", "mean * (1 + s / sqrt(n)) * (1 + t)", "m³/h", "small group, peak within the hour")


def _by_peak(sheet: ExplanationSheet, recorded: RecordedOption, demand: DemandResult, row: int) -> None:
    customer, curve = recorded.state.customers.customer_id[row], diversity_curve()
    meters = _group(recorded, demand, row, by_peak=True)
    share = float(diversity(curve, meters))
    peak = demand.records.peak_kw[row]
    sheet.given("P", peak, "kW", "peak power", _origin("peak_kw", customer))
    words = f"share of their peaks that {meters:g} meters of this category reach together"
    sheet.given("y", share, "", words, f"table diversity_curves.csv, {curve.name} (source {curve.source})")
    _heat(sheet, demand)
    sheet.work("q_group", "P * 1000 / Hs * 3600 * y", "m³/h")


def _heat(sheet: ExplanationSheet, demand: DemandResult) -> None:
    origin = "rule gas.name or gas.composition; table components.csv (source iso_6976)"
    sheet.given("Hs", demand.hs_j_per_m3_std, "J/m³", "superior calorific value", origin)
