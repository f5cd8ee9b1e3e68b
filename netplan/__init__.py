"""Planning help for stopping a low-pressure polyethylene gas main.

The package answers, before anybody digs: where to stop the main on every side of a work section, who
loses gas, what bypass keeps the others on, how much gas is vented and in which order. It gives planning
figures; it is no permit and no substitute for the operator's rules, local codes and competent people.

    import netplan

    network = netplan.read_network("town.gpkg")
    result = netplan.plan_work(network, ("M0142", 158, 162), start="2027-03-09T07:00", hours=9)
    netplan.plan_options(result.plan)
    folder = netplan.save_plan(result, "plan-a")
    print(netplan.explain_figure(folder, "pressure:S1"))

Names below are fetched at their first use, so that ``import netplan`` alone costs nothing.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from netplan.core.names_on_first_use import names_on_first_use

if TYPE_CHECKING:
    from netplan.isolation import Orders
    from netplan.library import (
        SAMPLE_WORK,
        affected_customers,
        as_built_fittings,
        bypass_for_weather,
        check_network,
        explain_figure,
        figures_of_plan,
        gas_properties,
        network_graph,
        network_tables,
        plan_layers,
        plan_options,
        plan_work,
        record_log,
        sample_town,
        save_plan,
        write_as_built,
    )
    from netplan.planfile.plan_json import read_plan
    from netplan.readers import read_mapping, read_network, write_layers
    from netplan.rules import read_rules

__version__ = "0.1.0"

__all__ = [
    "SAMPLE_WORK",
    "Orders",
    "__version__",
    "affected_customers",
    "as_built_fittings",
    "bypass_for_weather",
    "check_network",
    "explain_figure",
    "figures_of_plan",
    "gas_properties",
    "network_graph",
    "network_tables",
    "plan_layers",
    "plan_options",
    "plan_work",
    "read_mapping",
    "read_network",
    "read_plan",
    "read_rules",
    "record_log",
    "sample_town",
    "save_plan",
    "write_as_built",
    "write_layers",
]

_MODULE_OF = {
    "Orders": "netplan.isolation",
    "read_mapping": "netplan.readers",
    "read_network": "netplan.readers",
    "read_plan": "netplan.planfile.plan_json",
    "read_rules": "netplan.rules",
    "write_layers": "netplan.readers",
}


__getattr__ = names_on_first_use(
    __name__, {name: _MODULE_OF.get(name, "netplan.library") for name in __all__}
)


def __dir__() -> list[str]:
    return sorted(__all__)
