"""What people take away from a screen: tables, a map, a short report."""

from netplan.outputs.screen.folder import check_screen_target, write_screen_folder

__all__ = ["check_screen_target", "write_screen_folder"]
