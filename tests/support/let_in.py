"""Requests to a served page as its own page sends them, and raw bytes as a stranger may."""

from __future__ import annotations

import json
import socket
import urllib.error
import urllib.request
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

__all__ = ["LetIn", "raw_answer"]

WAIT_S = 60.0


@dataclass(frozen=True)
class LetIn:
    """Somebody with cookie and key.

    Parameters
    ----------
    origin, cookie, csrf : str
    cookie_words : str
        The cookie with its attributes, as it was set.
    """

    origin: str
    cookie: str
    csrf: str
    cookie_words: str

    @classmethod
    def by(cls, url: str) -> LetIn:
        """Exchange the token of an address."""
        origin, token = url.split("/#")
        request = urllib.request.Request(
            f"{origin}/session", data=json.dumps({"token": token}).encode(), headers={"Origin": origin}
        )
        with urllib.request.urlopen(request, timeout=WAIT_S) as answer:
            words = answer.headers["set-cookie"]
            return cls(origin, words.split(";")[0], json.loads(answer.read())["csrf"], words)

    def ask(self, path: str, body: Any = None, *, method: str | None = None) -> tuple[int, bytes]:
        """Return status and body of an answer; a body asked with makes it a write."""
        headers = {"Cookie": self.cookie, "X-Netplan-Page": self.csrf, "Origin": self.origin}
        data = None if body is None else body if isinstance(body, bytes) else json.dumps(body).encode()
        request = urllib.request.Request(self.origin + path, data=data, headers=headers, method=method)
        try:
            with urllib.request.urlopen(request, timeout=WAIT_S) as answer:
                return answer.status, answer.read()
        except urllib.error.HTTPError as error:
            with error:
                return error.code, error.read()

    def events(self, path: str) -> Iterator[bytes]:
        """Yield the lines of a stream."""
        request = urllib.request.Request(self.origin + path, headers={"Cookie": self.cookie})
        with urllib.request.urlopen(request, timeout=WAIT_S) as answer:
            yield from answer


def raw_answer(origin: str, request: bytes) -> bytes:
    """Return the first bytes that a server sends to some bytes, empty where it only closes."""
    with socket.create_connection(("127.0.0.1", int(origin.rsplit(":", 1)[1])), timeout=WAIT_S) as connection:
        connection.sendall(request)
        return connection.recv(65_536)
