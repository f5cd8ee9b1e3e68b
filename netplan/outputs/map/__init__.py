"""The map: one file that opens without any network, drawn from a plan and its layers alone."""

from netplan.outputs.map.plan_map import plan_map

__all__ = ["plan_map"]
