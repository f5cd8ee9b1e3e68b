"""The terminal: what people read on it, and what is being done while it is done."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from typing import Any

from rich.console import Console, ConsoleOptions
from rich.segment import Segment
from rich.text import Text as RichText

from netplan.cli.exit_codes import visible

__all__ = ["PlainConsole", "console", "progress"]


class PlainConsole(Console):
    """A console on which text from the data stays text: nothing in it moves, colours or turns the screen."""

    def render(self, renderable: Any, options: ConsoleOptions | None = None) -> Iterable[Segment]:
        """Yield the segments of something printed, with control characters shown by their number."""
        for segment in super().render(renderable, options):
            if segment.control:
                yield segment
            else:
                yield Segment(visible(segment.text), segment.style)


def console() -> Console:
    """Return a console for what people read on screen."""
    return PlainConsole(highlight=False)


@contextmanager
def progress(terminal: Console) -> Iterator[Callable[[str], None]]:
    """Show what is being done; nothing where the output is no terminal."""
    if not terminal.is_terminal:
        yield lambda _: None
        return
    with terminal.status(RichText("starting")) as status:
        yield lambda words: status.update(RichText(words))
