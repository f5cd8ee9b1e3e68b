"""A law of the order that a list of steps breaks, and where."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["LawBreach"]


@dataclass(frozen=True, slots=True)
class LawBreach:
    """One law that the order of an option breaks.

    Parameters
    ----------
    law : int
        Its number, 1 to 33; 0: the states of the items do not follow from one another.
    step_n : int or None
        Number of the step that breaks it; None where no single step does.
    item_ids : tuple of str
        What is concerned.
    what : str
        One line.
    """

    law: int
    step_n: int | None
    item_ids: tuple[str, ...]
    what: str

    def words(self) -> str:
        """Return it as one line with the number of the law and of the step."""
        at = "" if self.step_n is None else f" at step {self.step_n}"
        named = f" ({', '.join(self.item_ids)})" if self.item_ids else ""
        return f"law {self.law}{at}: {self.what}{named}"
