"""A Dask scheduler and workers as machines of their own: processes that share no folder with the run they work for.

Each worker has a folder of its own, an address of its own on the loopback (127.0.0.2, 127.0.0.3, …), and may open
no file below the folder of the run: an audit hook in it refuses. A worker holds a block that it has worked until it
is let go, so that a test can end processes in the midst of a run and not by luck.
"""

from __future__ import annotations

import os
import shlex
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Final

PRELOAD: Final = """
import os
import sys
import time

from netplan.screening import cluster_workers
from netplan.screening.main_blocks import screen_block as work

CLOSED, LET = os.environ["NETPLAN_TEST_CLOSED"], os.path.abspath("let")
worked = []


def refuse(event, args):
    if event in ("open", "os.listdir", "os.scandir") and str(args[0]).startswith(CLOSED):
        raise PermissionError(f"no machine but its own reads {args[0]}")


def held(*question):
    table = work(*question)
    worked.append(len(table))
    with open("held", "w") as file:
        file.write(str(len(worked)))
    while not (os.path.exists(LET) and int("0" + open(LET).read()) >= len(worked)):
        time.sleep(0.01)
    return table


cluster_workers.screen_block = held
sys.addaudithook(refuse)
"""
WAIT_S: Final = 60.0
PAGE: Final = Path(__file__).parents[2] / "docs" / "how-to-cluster.md"
PAGE_HOST, PAGE_PORT = "10.0.0.1", "8786"


def page_command(begin: str, address: str) -> list[str]:
    """Return a command of the page on clusters, with the address of a scheduler in place of the page's.

    Parameters
    ----------
    begin : str
        First words of its line, which is the only one in its block.
    address : str
        Such as tcp://127.0.0.1:8786.
    """
    (line,) = (line for line in PAGE.read_text(encoding="utf-8").splitlines() if line.startswith(begin))
    host, port = address.removeprefix("tcp://").split(":")
    program, *words = shlex.split(line.replace(PAGE_HOST, host).replace(PAGE_PORT, port))
    module = {"dask": "dask", "gas-netplan": "netplan"}[program]
    return [sys.executable, "-m", module, *words]


def free_port() -> int:
    """Return a port of this machine that nobody uses at the moment."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port: int = free.getsockname()[1]
    return port


def until(told: Callable[[], bool], what: str, *watched: subprocess.Popen[str]) -> None:
    """Wait until something is so; what may not end meanwhile is watched."""
    deadline = time.monotonic() + WAIT_S
    while not told():
        ended = [process.args for process in watched if process.poll() is not None]
        assert not ended, f"{what}: ended before: {ended}"
        assert time.monotonic() < deadline, f"{what}: not within {WAIT_S:g} s"
        time.sleep(0.01)


class Worker:
    """One worker: its process and its folder."""

    def __init__(self, folder: Path, scheduler: str, host: str, closed: Path) -> None:
        folder.mkdir()
        (folder / "preload.py").write_text(PRELOAD)
        self.folder = folder
        command = page_command("dask worker", scheduler)
        # Several processes of one machine are told by another process, which would outlive a kill.
        del command[(several := command.index("--nworkers")) : several + 2]
        command += ["--no-nanny", "--no-dashboard", "--host", host, "--local-directory", str(folder)]
        command += ["--preload", "preload.py"]
        root = str(Path(__file__).parents[2])
        self.process = subprocess.Popen(  # noqa: S603
            command,
            cwd=folder,
            env={**os.environ, "NETPLAN_TEST_CLOSED": str(closed), "PYTHONPATH": root},
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            text=True,
        )

    def holds(self) -> int:
        """Return how many blocks it has worked, the one that it holds among them."""
        path = self.folder / "held"
        return int("0" + path.read_text()) if path.exists() else 0

    def let(self, blocks: int) -> None:
        """Let it finish so many blocks since its start."""
        (self.folder / "part").write_text(str(blocks))
        (self.folder / "part").replace(self.folder / "let")


class Machines:
    """A scheduler on a fixed port, and workers; all end with the block.

    Parameters
    ----------
    folder : Path
        For the folders of the workers.
    closed : Path
        Folder of the run, closed to them.
    """

    def __init__(self, folder: Path, closed: Path) -> None:
        self._folder, self._closed, self._begun = folder, closed, 0
        self.address = f"tcp://127.0.0.1:{free_port()}"
        self.scheduler: subprocess.Popen[str] | None = None
        self.workers: list[Worker] = []
        self._runs: list[subprocess.Popen[str]] = []

    def run(self, command: list[str], **environment: str) -> subprocess.Popen[str]:
        """Start a command in the folder of the run."""
        more = {"PYTHONPATH": str(Path(__file__).parents[2]), **environment}
        begun = subprocess.Popen(  # noqa: S603
            command,
            cwd=self._closed,
            env={**os.environ, **more},
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        self._runs.append(begun)
        return begun

    def start(self, workers: int) -> list[Worker]:
        """Start the scheduler and workers; return these workers."""
        command = page_command("dask scheduler", self.address)
        command += ["--no-show", "--no-dashboard", "--dashboard-address", "127.0.0.1:0"]
        self.scheduler = subprocess.Popen(  # noqa: S603
            command, cwd=self._folder, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, text=True
        )
        new = []
        for _ in range(workers):
            self._begun += 1
            host = f"127.0.0.{self._begun + 1}"
            new.append(Worker(self._folder / f"machine-{self._begun}", self.address, host, self._closed))
        self.workers += new
        return new

    def kill_scheduler(self) -> None:
        """Kill the scheduler; its workers end by themselves."""
        assert self.scheduler is not None
        kill(self.scheduler)
        for worker in self.workers:
            worker.let(10_000)
        for worker in self.workers:
            worker.process.wait(WAIT_S)

    def __enter__(self) -> Machines:
        return self

    def __exit__(self, *_: object) -> None:
        for process in (self.scheduler, *(worker.process for worker in self.workers)):
            if process is not None and process.poll() is None:
                kill(process)
        for run in self._runs:
            if run.poll() is None:
                kill(run)
            run.communicate()


def kill(process: subprocess.Popen[str]) -> None:
    """End a process at once, without any word to it."""
    process.send_signal(signal.SIGKILL)
    process.wait(WAIT_S)
