"""What is being done, on one line of the screen while it is done."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager

from rich.console import Console
from rich.text import Text as RichText

__all__ = ["progress"]


@contextmanager
def progress(screen: Console) -> Iterator[Callable[[str], None]]:
    """Show what is being done; nothing where the output is no terminal."""
    if not screen.is_terminal:
        yield lambda _: None
        return
    with screen.status(RichText("starting")) as status:
        yield lambda words: status.update(RichText(words))
