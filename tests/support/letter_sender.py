"""A folder of words with a sender, so that letters are made."""

from __future__ import annotations

from importlib import resources
from pathlib import Path

LANGUAGES = ("en", "de")
SENDER = {"sender": "Millford Gas", "phone": "555 0100", "emergency": "555 0199"}


def words_with_a_sender(folder: Path) -> Path:
    """Write the shipped words with an invented sender into a new folder, and return it."""
    folder.mkdir()
    shipped = resources.files("netplan.outputs").joinpath("templates")
    for language in LANGUAGES:
        lines = shipped.joinpath(f"words.{language}.toml").read_text(encoding="utf-8").split("\n")
        named = [
            next((f'{k} = "{v}"' for k, v in SENDER.items() if line.startswith(f"{k} =")), line)
            for line in lines
        ]
        (folder / f"words.{language}.toml").write_text("\n".join(named), encoding="utf-8")
    return folder
