"""How much gas customers draw in the hours of the work, by weather and published profiles.

Needs nothing but the customers' table, the rules and the gas' calorific value::

    window = Window(start, hours, air_temp_c)            # or forecast=read_forecast(path)
    result = customer_demand(customers, window, rules, hs_j_per_m3_std)   # -> DemandResult
    flow = result.flow_m3_per_s_std(hour, part)          # per customer [m³/s at 15 °C, 101.325 kPa]
    result.worst_hour                                    # hour of the greatest total
    result.hours_to_check()                              # hours no other hour beats everywhere
    result.at_air_temp(air_temp_c)                       # same customers and hours, other weather
    result.parts(hour, part)                             # named parts; they add up to the total
    result.findings                                      # bad demand data with id and the fallback used
    node_demand(customers, flow, node_count, is_live)    # per node [m³/s], ready for the flow calculation
    uplift(customers_n, rules)                           # small groups and the peak within the hour [-]
    relight_flow(result, customers_back_on)              # load of relighting together [m³/s]

How small groups are handled. A yearly energy through a profile is a mean over very many customers. The
mean of n meters fed together is raised by ``uplift(n)``, which falls with n while n · uplift(n) rises.
The group is the whole part of the network that is fed together (label customers by ``part``): within a
part every customer gets the same uplift, so that flows add up at each node and mass balance holds, and a
part fed through a bypass of its own gets the larger uplift of the fewer customers behind it. What a
single service sees beyond that is added as a pressure allowance, not as a flow (see netplan.feeds).
A peak_kw takes the one published diversity curve with the number of such meters in the part instead.

Colder never needs less: an hour's factor is the largest that any air temperature from the given one up
would give, because the published hourly shares step at the edges of their temperature bands.
"""

from netplan.demand.demand_at_nodes import customer_pressure, node_demand
from netplan.demand.demand_records import DemandRecords, check_records
from netplan.demand.group_diversity import DiversityGroups, UnlistedCustomers, diversity_of, uplift
from netplan.demand.hourly_demand import DemandResult, DemandShare, customer_demand
from netplan.demand.hours_and_weather import Forecast, HourOfWindow, Window, read_forecast, window_hours
from netplan.demand.load_profile import customer_value_kwh_per_day, hour_factor
from netplan.demand.relighting_flow import relight_flow

__all__ = [
    "DemandRecords",
    "DemandResult",
    "DemandShare",
    "DiversityGroups",
    "Forecast",
    "HourOfWindow",
    "UnlistedCustomers",
    "Window",
    "check_records",
    "customer_demand",
    "customer_pressure",
    "customer_value_kwh_per_day",
    "diversity_of",
    "hour_factor",
    "node_demand",
    "read_forecast",
    "relight_flow",
    "uplift",
    "window_hours",
]
