"""A stand-in for the page: asks a running server over HTTP and hears its stream, with the times."""

from __future__ import annotations

import json
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from http.client import HTTPConnection, HTTPResponse
from typing import Any

__all__ = ["Heard", "PageClient", "page_orders"]

PATIENCE_S = 180.0
"""Nothing is waited for longer [s]."""


@dataclass(frozen=True)
class Heard:
    """One answer of the stream, and when it came."""

    at_s: float
    revision: int
    stage: str
    data: dict[str, Any]


def page_orders(main_id: str, from_m: float, to_m: float, **more: Any) -> dict[str, Any]:
    """Return orders with one length of main as the work section."""
    return {"work": [{"main_id": main_id, "from_m": from_m, "to_m": to_m}], **more}


class PageClient:
    """Let in by the address that the terminal printed."""

    def __init__(self, url: str) -> None:
        origin, token = url.split("/#")
        self._host = origin.removeprefix("http://")
        self._headers = {"Host": self._host, "Origin": origin, "Content-Type": "application/json"}
        answer, body = self._send("POST", "/session", {"token": token})
        assert answer.status == 200, body
        self._headers["Cookie"] = (answer.getheader("set-cookie") or "").split(";")[0]
        self._headers["X-Netplan-Page"] = json.loads(body)["csrf"]
        self.heard: list[Heard] = []
        self._news = threading.Condition()
        self._stream = HTTPConnection(self._host, timeout=PATIENCE_S)
        self._stream.request("GET", "/answers", headers=self._headers)
        threading.Thread(target=self._hear, args=(self._stream.getresponse(),), daemon=True).start()

    def _hear(self, stream: HTTPResponse) -> None:
        try:
            for line in stream:
                if line.startswith(b"data: "):
                    data = json.loads(line[6:])
                    answer = Heard(time.perf_counter(), data.pop("revision"), data.pop("stage"), data)
                    with self._news:
                        self.heard.append(answer)
                        self._news.notify_all()
        except (OSError, ValueError, AttributeError):
            return  # closed

    def _send(self, method: str, path: str, body: Any = None) -> tuple[HTTPResponse, bytes]:
        connection = HTTPConnection(self._host, timeout=PATIENCE_S)
        connection.request(method, path, None if body is None else json.dumps(body), self._headers)
        answer = connection.getresponse()
        read = answer.read()
        connection.close()
        return answer, read

    def get(self, path: str) -> Any:
        """Return what a path answers, as JSON; bytes where it is none."""
        answer, body = self._send("GET", path)
        assert answer.status == 200, body
        return json.loads(body) if "json" in (answer.getheader("content-type") or "") else body

    def post(self, path: str, body: Any) -> tuple[int, Any]:
        """Return status and answer of something that changes."""
        answer, read = self._send("POST", path, body)
        is_json = "json" in (answer.getheader("content-type") or "")
        return answer.status, json.loads(read) if is_json else read.decode()

    def order(self, orders: dict[str, Any]) -> int:
        """Give orders; return their revision."""
        status, taken = self.post("/orders", orders)
        assert status == 200, taken
        revision: int = taken["revision"]
        return revision

    def wait(
        self,
        revision: int,
        *stages: str,
        such: Callable[[Heard], bool] = lambda _: True,
        within_s: float = PATIENCE_S,
    ) -> Heard:
        """Return the first answer to a revision at one of some stages that is such."""
        end = time.perf_counter() + within_s
        with self._news:
            seen = 0
            while True:
                for answer in self.heard[seen:]:
                    if answer.revision == revision and answer.stage in stages and such(answer):
                        return answer
                seen = len(self.heard)
                left = end - time.perf_counter()
                assert left > 0, (
                    f"no {stages} for revision {revision}: {[(h.revision, h.stage) for h in self.heard[-9:]]}"
                )
                self._news.wait(left)

    def close(self) -> None:
        """End the stream."""
        if self._stream.sock is not None:
            self._stream.sock.close()
        self._stream.close()
