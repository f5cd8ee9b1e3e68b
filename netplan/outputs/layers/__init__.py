"""The layers of plan.gpkg: enough to draw the plan, and to rebuild and solve its states elsewhere."""

from netplan.outputs.layers.geopackage import read_plan_layers, write_layers
from netplan.outputs.layers.layer_folders import write_layer_folders
from netplan.outputs.layers.layers_of_plan import plan_layers

__all__ = ["plan_layers", "read_plan_layers", "write_layer_folders", "write_layers"]
