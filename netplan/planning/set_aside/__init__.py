"""Planning with pipes set aside: live ones without a usable size, far from the work, taken as not live."""

from netplan.planning.pipes_set_aside import plan_with_set_aside

__all__ = ["plan_with_set_aside"]
