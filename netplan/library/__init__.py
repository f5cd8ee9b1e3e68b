"""The package as a library: what a notebook or a script needs, under few names.

Every name is also an attribute of `netplan` itself, where it is fetched at its first use. In the examples
`netplan` is imported, `network` is the sample town and `folder` holds a plan of its demo's work.
"""

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
    "sample_town",
    "save_plan",
    "write_as_built",
]
