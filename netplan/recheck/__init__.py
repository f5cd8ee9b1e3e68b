"""Whether an issued plan still holds on the morning of the work.

``recheck_plan(issued, request)`` takes a plan from its folder and today's network, closures and weather. It
names the records that have changed near the work, makes the same stops and the same feeds anew, solves every
state of the work with all hard constraints, and sets what comes out against what the papers tell: who is off,
kept, on standby and in doubt, and what every gauge reads.
"""

from netplan.recheck.issued_plan import IssuedPlan
from netplan.recheck.morning_check import recheck_plan
from netplan.recheck.todays_request import todays_request

__all__ = ["IssuedPlan", "recheck_plan", "todays_request"]
