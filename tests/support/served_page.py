"""A running page of one network: its address with the token, and where it saves."""

from __future__ import annotations

import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

__all__ = ["WAIT_MS", "Served", "serving"]

WAIT_MS = 120_000
"""How long a browser waits for anything on the page [ms]."""


@dataclass
class Served:
    """A running page: its address with the token, and where it saves."""

    url: str
    folder: Path
    pid: int = 0

    @property
    def origin(self) -> str:
        return self.url.split("/#")[0]


@contextmanager
def serving(network: str, folder: Path, *more: str) -> Iterator[Served]:
    """Serve a network until the end; it ends by itself on Ctrl-C, without a complaint."""
    line = [sys.executable, "-m", "netplan", "serve", network, "--no-open", "--port", "0", *more]
    line += ["--plans", str(folder / "plans")]
    line += [] if "--cache" in more else ["--cache", str(folder / "cache")]
    with subprocess.Popen(line, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as running:  # noqa: S603
        assert running.stdout is not None
        url = running.stdout.readline().strip()
        try:
            yield Served(url, folder, running.pid)
        except BaseException:
            running.kill()  # what went wrong is to be said, not waited for
            raise
        running.send_signal(signal.SIGINT)
        assert running.wait(timeout=30) == 0
        assert running.stderr is not None
        said = running.stderr.read()
        assert said == "", said
