"""What the isolation of each main of a network means: the same question for all.

``screen(network, rules, settings)`` returns a `Screen`: one row a main, worst first by any figure, with
"no plan possible" and its reason among the answers; "stops found" says no more than that. Figures of stops
are those of the cut with the lowest bound (`netplan.isolation`), so ``burden_least`` is a lower bound of the
burden; ``burden_without_feeds`` is what it costs when nothing is fed and everybody without gas or pressure
goes off. No option is priced in full.
"""

from netplan.screening.block_workers import Workers
from netplan.screening.loss_at_ends import EndLoss, lost_at_ends
from netplan.screening.screen_run import Screen, screen
from netplan.screening.screen_settings import ScreenSettings

__all__ = ["EndLoss", "Screen", "ScreenSettings", "Workers", "lost_at_ends", "screen"]
