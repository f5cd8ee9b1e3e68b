"""The same question for every main: what does its isolation mean?

``screen(network, rules, settings)`` returns a `Screen`: one row a main, worst first by any figure, with
"no plan possible" and its reason among the answers. Figures of stops are those of the cut with the lowest
bound (`netplan.isolation`), so ``burden_least`` is a lower bound of the burden; ``burden_without_feeds`` is
what it costs when nothing is fed and everybody without gas or pressure goes off. No option is priced in full.
"""

from netplan.screening.loss import EndLoss, lost_at_ends

__all__ = ["EndLoss", "lost_at_ends"]
