"""What people take away from a renewal in stages: a table, layers, a map of every stage."""

from netplan.outputs.stages.folder import write_stages_folder

__all__ = ["write_stages_folder"]
