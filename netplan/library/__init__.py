"""The package as a library: what a notebook or a script needs, under few names.

Every name is also an attribute of `netplan` itself, where it is fetched at its first use. In the examples
`netplan` is imported, `network` is the sample town and `folder` holds a plan of its demo's work.

A module is loaded when the first of its names is asked for.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from netplan.core.names_on_first_use import names_on_first_use

if TYPE_CHECKING:
    from netplan.library.check_and_plan import check_network, plan_work
    from netplan.library.network_export import gas_properties, network_graph, network_tables
    from netplan.library.plan_folders import (
        affected_customers,
        as_built_fittings,
        bypass_for_weather,
        explain_figure,
        figures_of_plan,
        plan_layers,
        plan_options,
        save_plan,
        write_as_built,
    )
    from netplan.library.sample_network import SAMPLE_WORK, sample_town
    from netplan.library.work_day_logs import record_log

__all__ = [
    "SAMPLE_WORK",
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
    "record_log",
    "sample_town",
    "save_plan",
    "write_as_built",
]

_MODULE_OF = {
    "SAMPLE_WORK": "sample_network",
    "check_network": "check_and_plan",
    "gas_properties": "network_export",
    "network_graph": "network_export",
    "network_tables": "network_export",
    "plan_work": "check_and_plan",
    "record_log": "work_day_logs",
    "sample_town": "sample_network",
}


__getattr__ = names_on_first_use(
    __name__, {name: f"{__name__}.{_MODULE_OF.get(name, 'plan_folders')}" for name in __all__}
)
