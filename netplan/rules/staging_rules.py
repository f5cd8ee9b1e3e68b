"""Rules of a renewal in stages."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field, model_validator

from netplan.rules.rule_types import Metres, Money, RulesTable, Whole

__all__ = ["StagingRules"]


class StagingRules(RulesTable):
    """How a long renewal may be split into stages.

    Lengths [m]; ``bypass_move`` is what a bypass or hose costs that is moved along from the stage before
    [currency]; a stage follows ``days_apart`` working days after the one before. The split chooses among
    ``ways`` options of each length, and plans ``plans_max`` times at most.
    """

    longest_m: Annotated[Metres, Field(gt=0)] = 100.0
    shortest_m: Metres = 10.0
    step_m: Annotated[Metres, Field(ge=1)] = 10.0
    share_m: Metres = 4.0
    bypass_move: Money = 400.0
    days_apart: Annotated[Whole, Field(ge=1, le=60)] = 1
    ways: Annotated[Whole, Field(ge=1, le=20)] = 3
    plans_max: Annotated[Whole, Field(ge=1)] = 200

    @model_validator(mode="after")
    def _lengths_agree(self) -> StagingRules:
        if self.shortest_m > self.longest_m:
            raise ValueError("shortest_m is above longest_m; swap them")
        return self
