"""Excavations: where mains are laid bare, which of them are one, and what they cost beyond the stops.

Knows the zone and its stops, not the flow::

    work_excavations_minor(network, rules, section)  # the same for every cut: added to burden and bounds
    dug = CutExcavations(network, rules, section, work_minor, cut)
    dug.price_minor                                  # with dead ends and loops: known before any feed is
    dug.tee_minor(pipe, chainage_m)                  # what a tee away from every stop adds to its feed
    outlines_of(network, rules.excavation, things)   # polygons along the mains
    merged_outlines(outlines, within_m=, width_m=)   # those nearer to each other than that are one
"""

from netplan.excavations.cut_excavations import (
    CutExcavations,
    ExcavationCharge,
    merged_excavations,
    stop_lengths,
    tee_elsewhere,
    work_excavation_prices,
    work_excavations_minor,
    work_lengths,
)
from netplan.excavations.outlines import MergedOutline, ServedLength, merged_outlines, outlines_of
from netplan.excavations.site_words import LOCATE_FIRST, TRAFFIC, excavation_depth_m, needs_shoring
from netplan.excavations.zone_dead_ends import DeadEnd, ZoneMainsPart, zone_mains_parts

__all__ = [
    "LOCATE_FIRST",
    "TRAFFIC",
    "CutExcavations",
    "DeadEnd",
    "ExcavationCharge",
    "MergedOutline",
    "ServedLength",
    "ZoneMainsPart",
    "excavation_depth_m",
    "merged_excavations",
    "merged_outlines",
    "needs_shoring",
    "outlines_of",
    "stop_lengths",
    "tee_elsewhere",
    "work_excavation_prices",
    "work_excavations_minor",
    "work_lengths",
    "zone_mains_parts",
]
