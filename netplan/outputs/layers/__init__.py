"""The layers of plan.gpkg: enough to draw the plan, and to rebuild and solve its states elsewhere."""

from netplan.outputs.layers.collect import plan_layers
from netplan.outputs.layers.geopackage import read_plan_layers, write_layers

__all__ = ["plan_layers", "read_plan_layers", "write_layers"]
