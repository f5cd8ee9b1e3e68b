"""The loss sheet: what to do when one thing fails in one state of the work, and who then has no gas."""

from netplan.planning.loss_sheet.sheet import loss_sheet

__all__ = ["loss_sheet"]
