"""A draft with its question marks answered, as a person writes who knows the company; each line changed is counted."""

from __future__ import annotations

import json
import re
from dataclasses import dataclass, replace

from tests.first_hour.export import Answers

__all__ = ["Answered", "answered", "asked_lines"]

_HEAD = re.compile(r"^\[\[(\w+)\]\]")
_COLUMN = re.compile(r"^\[(\w+)\.columns\.(\w+)\.values\]")
_TABLE = re.compile(r"^\[")
_WORD = re.compile(r'^("(?:[^"\\]|\\.)*") = "\?"')
_RULE = re.compile(r"^(\w+) = (.*)$")
_OPEN = re.compile(r'("(?:[^"\\]|\\.)*") \((\d+)\)')


@dataclass(frozen=True)
class Answered:
    """The text with its answers, and how many lines were changed, added or, a table at once, taken out."""

    text: str
    edits: int


def asked_lines(text: str) -> int:
    """Return how many lines of a draft hold a question mark to be answered."""
    return sum('"?"' in line.partition(" #")[0] for line in text.splitlines() if not line.startswith("#"))


def answered(text: str, answers: Answers, *, mend: bool = False) -> Answered:
    """Answer every question mark of a draft; KeyError for one that nobody knows an answer to.

    Parameters
    ----------
    mend : bool
        Whether to correct what `check` says after that too: prefixes, and features that are left out.
    """
    if not mend:
        answers = replace(answers, prefixes={}, left_out={})
    edits = 0
    blocks = re.split(r"(?m)^(?=\[\[)", text)
    done = [blocks[0]]
    for block in blocks[1:]:
        source = re.search(r'(?m)^source = "(.*?)"(?: # "(.*?)"\?)?', block)
        assert source is not None
        if source[1] == "?":
            if source[2] not in answers.out:
                raise KeyError(source[2])
            edits += 1
            continue
        lines, count = _block(block, source[1], answers)
        done.append(lines)
        edits += count
    return Answered("".join(done), edits)


def _block(block: str, source: str, answers: Answers) -> tuple[str, int]:
    """Answer one table."""
    head = _HEAD.match(block)
    assert head is not None
    target, column, opened = head[1], "", []
    out: list[str] = []
    edits = 0
    for line in block.splitlines():
        if found := _COLUMN.match(line):
            column = found[2]
        elif _TABLE.match(line):
            column = ""
        if line.startswith("# Not in any table yet:"):
            opened = [json.loads(word) for word, _ in _OPEN.findall(line)]
        new = _line(line, target, column, source, opened, answers)
        out += [new] if new is not None else []
        edits += new != line
        if (
            line.startswith("source = ")
            and source in answers.left_out
            and not opened
            and "where = " not in block
        ):
            name, value = answers.left_out[source]
            out.append(f'where = [{{ column = "{name}", is_not = "{value}" }}]')
            edits += 1
    return "\n".join(out) + "\n", edits


def _line(
    line: str, target: str, column: str, source: str, opened: list[str], answers: Answers
) -> str | None:
    """Return a line with its answer, None for one that is taken out."""
    bare = line.partition(" # ")[0]
    if line.startswith("where = ") and target == "mains":
        return _where(bare, source, opened, answers)
    if column and (word := _WORD.match(line)):
        meant = answers.words[column][json.loads(word[1]).strip().casefold()]
        return f"{word[1]} = {json.dumps(meant)}"
    rule = _RULE.match(bare)
    if rule is None or line.startswith(("source", "where", "#", "[")):
        return line
    name = rule[1]
    if (source, name) in answers.prefixes:
        own = json.loads(rule[2])
        return f'{name} = {{ from = "{own}", prefix = "{answers.prefixes[source, name]}" }}'
    if 'unit = "?"' in bare:
        return bare.replace('unit = "?"', answers.units[target, name])
    if '"?"' in bare:
        meant_column = answers.columns[target, name]
        return None if meant_column is None else f'{name} = "{meant_column}"'
    return line


def _where(line: str, source: str, opened: list[str], answers: Answers) -> str:
    """Return a condition with the words of mains, and without a feature that stands elsewhere too."""
    if '"?"' in line:
        mains = [word for word in opened if answers.words["where"][word] == "mains"]
        assert all(answers.words["where"][word] in ("mains", "") for word in opened), (
            "others are not edited here"
        )
        line = line.replace('"?"', ", ".join(json.dumps(word) for word in mains))
    if source in answers.left_out:
        column, value = answers.left_out[source]
        line = line.removesuffix("]") + f', {{ column = "{column}", is_not = "{value}" }}]'
    return line
