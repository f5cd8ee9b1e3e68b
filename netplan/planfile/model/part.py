"""A part of a plan."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict

__all__ = ["Part"]


class Part(BaseModel):
    """A part of a plan: frozen; keys this version does not know are refused."""

    model_config = ConfigDict(extra="forbid", frozen=True)
