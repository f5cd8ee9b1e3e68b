"""Words on a search that is running, with how far it is."""

from __future__ import annotations

__all__ = ["SearchProgress"]


class SearchProgress(str):
    """Words on a candidate, which is all that most who hear them need, with how far the proof is.

    Attributes
    ----------
    share : float or None
        How far the lower bound has come from that of the first candidate to the burden that ends the search
        [-], 0 to 1; None while fewer options are found than are wanted.
    """

    share: float | None

    def __new__(cls, words: str, share: float | None) -> SearchProgress:
        """Return the words with their share."""
        said = super().__new__(cls, words)
        said.share = share
        return said

    def __reduce__(self) -> tuple[type[SearchProgress], tuple[str, float | None]]:
        """Return what makes it again in another process."""
        return SearchProgress, (str(self), self.share)
