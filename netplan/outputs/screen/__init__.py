"""What people take away from a screen: tables, a map, a short report."""

from netplan.outputs.screen.folder import write_screen_folder

__all__ = ["write_screen_folder"]
