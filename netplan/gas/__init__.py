"""Gas to vent, to purge out and to bring back; array-level, knows nothing of stops or options.

What is lost::

    content = line_content(length_m, bore_m, pressure_pa_gauge, ground_temperature_k, gas,
                           METRIC_STANDARD) -> LineContent      # arrays over the zone's pipes
    gap = gap_content(gap_m, bore_m, pressure_pa_gauge, ground_temperature_k, gas)   # double stops
    figures = vent_figures(content + gap, gas, volumes_in=2.0, kg_co2e_per_kg=28.0) -> VentFigures
    compared_with_regulation(figures, volume_m3, pressure_pa_gauge, ground_temperature_k)
    w14a_scf(…), w14b_scf(…)                                    # the regulation's formulas by themselves
    let_by_allowance(leak_paths()["bag"], bore_m, live_pa_gauge, ground_temperature_k, gas)

How it is purged::

    mains = ZoneMains(from_node, to_node, length_m, bore_m, roughness_m, pipe, from_m, to_m)
    source = PurgeSource(node, pipe, chainage_m, supply)        # one for each stop with a live side
    supply = DrawnNetwork(solver, demand, kept_nodes, kept_pa_gauge).supply(node) | (lambda flow: pa_gauge)
    plan = purge_plan(mains, [source, …], Equipment(feed_bores_m, stack_bores_m, stack_height_m,
                      feed_loss, roughness_m), FlowConditions(gas, …), volumes_out=2.0, volumes_in=2.0)
    plan.places, .least_velocity_m_s, .draw_m3_per_s_std, .dip_pa, .end_points, .notes, …
"""

from netplan.gas.let_by import LetByAllowance, let_by_allowance, slit_m3_per_s_std
from netplan.gas.live_side_draw import DrawnNetwork, FlowPath, PathPart, Supply, actual_per_standard
from netplan.gas.purge_equipment import Equipment, LegFlow, PurgeEquipment, PurgeSource, choose_rig
from netplan.gas.purge_plan import PurgePlace, PurgePlan, end_point_lines, purge_plan, unfed_purge_plan
from netplan.gas.purge_tree import PurgeLeg, PurgeTree, ZoneMains, purge_tree
from netplan.gas.purge_velocity import (
    least_flow_m3_per_s,
    least_velocity_m_s,
    minutes_to_purge,
    natural_gas_figures_hold,
)
from netplan.gas.regulation_formulas import Comparison, compared_with_regulation, w14a_scf, w14b_scf
from netplan.gas.vented_gas import (
    COMPARED_POTENTIALS,
    LineContent,
    VentFigures,
    gap_content,
    geometry_m3,
    line_content,
    methane_kg,
    vent_figures,
)
from netplan.reference.purge_figures import leak_paths

__all__ = [
    "COMPARED_POTENTIALS",
    "Comparison",
    "DrawnNetwork",
    "Equipment",
    "FlowPath",
    "LegFlow",
    "LetByAllowance",
    "LineContent",
    "PathPart",
    "PurgeEquipment",
    "PurgeLeg",
    "PurgePlace",
    "PurgePlan",
    "PurgeSource",
    "PurgeTree",
    "Supply",
    "VentFigures",
    "ZoneMains",
    "actual_per_standard",
    "choose_rig",
    "compared_with_regulation",
    "end_point_lines",
    "gap_content",
    "geometry_m3",
    "leak_paths",
    "least_flow_m3_per_s",
    "least_velocity_m_s",
    "let_by_allowance",
    "line_content",
    "methane_kg",
    "minutes_to_purge",
    "natural_gas_figures_hold",
    "purge_plan",
    "purge_tree",
    "slit_m3_per_s_std",
    "unfed_purge_plan",
    "vent_figures",
    "w14a_scf",
    "w14b_scf",
]
