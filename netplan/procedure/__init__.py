"""The order of the work, written from the plan itself: a draft for the operator's competent person.

option = with_order_items(option)              # ids of tappings, and the items that steps change
steps = step_list(option, conditions, rules, work=(WorkItem, …),
                  set_order=("S2", "S1"),        # stop ids, lightest flow first; None: as the states
                  relight_order=("C7", …))       # ids of all customers off; None: priority, dearest, address
line = timeline(steps, option, conditions, rules)   # when each is done, latest time to cut
stop_in_state("S1")  -> "S1 in"                  # what State.after_step has to say, so that expected
feed_open_state("B1") -> "B1 open"               # pressures of the states find their step
"""

from netplan.procedure.order_items import OrderItems, with_order_items
from netplan.procedure.proving_steps import DRAFT_NOTICE
from netplan.procedure.step_case import feed_open_state, stop_in_state
from netplan.procedure.step_kinds import Stage, StepDraft, StepFigures, Who
from netplan.procedure.step_sequence import step_list
from netplan.procedure.timeline import timeline

__all__ = [
    "DRAFT_NOTICE",
    "OrderItems",
    "Stage",
    "StepDraft",
    "StepFigures",
    "Who",
    "feed_open_state",
    "step_list",
    "stop_in_state",
    "timeline",
    "with_order_items",
]
