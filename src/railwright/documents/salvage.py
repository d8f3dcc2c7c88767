"""What can be read of a YAML text that may be broken anywhere, for whoever has to switch off all the same.

Nothing is validated, and nothing is refused: what makes no sense is left out, and the rest is given. Block
and flow mappings and scalars are read here, without a library: it is soon done, and no mistake ends it. A
text that has more to it (anchors, tags, texts over several lines) is left to the library as long as it is
whole.
"""

from __future__ import annotations

import math
import re
from functools import partial
from typing import Any

DEEPEST = 20
"""So many mappings in one another are read."""

_KEY = re.compile(r"""(?P<indent> *)(?P<key>"[^"]*"|'[^']*'|[^\s#:'"{\[\-][^:#]*?) *:(?: +(?P<rest>.*))?$""")
_ITEM = re.compile(r"( *)- ")
_MORE = re.compile(r"^\s*(?:\?\s|<<\s*:)|[:,{\[-]\s+[&*!|>]", re.MULTILINE)
_COMMENT = re.compile(r"""((?:"[^"]*"|'[^']*'|[^"'#\s]|\s(?!#)|(?<=\S)#|(?<=\S)["'])*)""")
_TOKEN = re.compile(r"""\s*("[^"]*"|'[^']*'|[{}\[\],]|:(?=\s|[{\[,"']|$)|(?:[^{}\[\],:]|:(?!\s|$))+)""")


ESCAPES = {"n": "\n", "r": "\r", "t": "\t", "0": "\0", '"': '"', "\\": "\\"}
"""What a backslash and a letter stand for in double quotes: those that a dialect or a bench may need."""

_ESCAPE = re.compile(r"\\([nrt0\"\\])")


def salvage(text: str) -> Any:
    """A YAML text as dict, list and str; None where nothing can be made of it."""
    if _MORE.search(text):
        whole = _by_library(text)
        if whole is not None:
            return whole
    return _block(text.expandtabs(), 0)


def _by_library(text: str) -> Any:
    from ruamel.yaml import YAML

    yaml = YAML(typ="base", pure=True)
    yaml.allow_duplicate_keys = True
    try:
        return yaml.load(text)
    except Exception:  # noqa: BLE001 - whatever a broken document makes the parser do, the rest of it counts
        return None


def _block(text: str, depth: int) -> Any:
    """A mapping of what stands behind each key that is indented least, and further in; else a scalar."""
    if depth > DEEPEST:
        return None
    if text.lstrip().startswith(("{", "[")):
        return _flow(text)
    lines = text.splitlines()
    keys = [len(match["indent"]) for line in lines if (match := _KEY.match(line))]
    first = _ITEM.match(next(filter(str.strip, lines), ""))
    if first and len(first[1]) < min(keys, default=math.inf):  # beside a key as far out, the dash is a slip
        return _sequence(lines, len(first[1]), depth)
    if not keys:
        return _scalar(text)
    least = min(keys)
    parts: dict[str, list[str]] = {}
    now: list[str] | None = None
    for line in lines:
        match = _KEY.match(line)
        if match and len(match["indent"]) == least:
            now = parts.setdefault(_scalar(match["key"]) or "", [_bare(match["rest"] or "")])
        elif now is not None:
            # Entries of a list may stand as far out as its key does, which then has no value of its own.
            its_list = _ITEM.match(line) is not None and not now[0].strip()
            if len(line) - len(line.lstrip()) >= least + (not its_list):
                now.append(line)
    return {key: _block("\n".join(part), depth + 1) for key, part in parts.items()}


def _sequence(lines: list[str], least: int, depth: int) -> list[Any]:
    """The entries of a block sequence, each of which begins with `- ` behind so many blanks."""
    parts: list[list[str]] = []
    for line in lines:
        match = _ITEM.match(line)
        if match and len(match[1]) == least:
            parts.append([" " * (least + 2) + _bare(line[least + 2 :])])
        elif parts:
            parts[-1].append(line)
    return [_block("\n".join(part), depth + 1) for part in parts]


def _bare(line: str) -> str:
    """A line without the comment at its end."""
    match = _COMMENT.match(line)
    return match[1] if match else line


def _scalar(text: str) -> str | None:
    text = " ".join(_bare(line).strip() for line in text.splitlines()).strip()
    if len(text) > 1 and text[0] == text[-1] and text[0] in "'\"":
        return text[1:-1] if text[0] == "'" else _ESCAPE.sub(lambda found: ESCAPES[found[1]], text[1:-1])
    return text or None


class _Inner:
    """What stands in one pair of brackets: entries, each with its key, '' where it has none."""

    def __init__(self) -> None:
        self.entries: list[tuple[str, Any]] = []
        self.closed = False
        """By a square bracket."""

    def put(self, key: str, value: Any) -> None:
        self.entries.append((key, value))

    def made(self, listed: bool, depth: int = 0) -> Any:
        """A list where it stands in square brackets; one that is not closed, and whose entries have keys, is
        a mapping with a bracket too many. None: it lies too deep.
        """
        if depth > DEEPEST:
            return None
        entries = [(key, value(depth + 1) if callable(value) else value) for key, value in self.entries]
        keyed = any(key for key, _ in entries)
        if listed and (self.closed or not keyed):
            return [{key: value} if key else value for key, value in entries]
        found: dict[str, Any] = {}
        for key, value in entries:
            if key:
                found.setdefault(key, value)
        return found


def _flow(text: str) -> Any:
    """`{key: value, ...}` and `[value, ...]`; a bracket too few or too many is of no interest here."""
    text = "\n".join(_bare(line) for line in text.splitlines())
    stack = [whole := _Inner()]
    listed = [False]
    key, word = "", ""
    for match in _TOKEN.finditer(text):
        token = match[1].strip()
        if token in ("{", "["):
            inner = _Inner()
            stack[-1].put(key, partial(inner.made, token == "["))
            stack.append(inner)
            listed.append(token == "[")
            key = word = ""
        elif token in ("}", "]", ","):
            if word and not key and listed[-1]:
                stack[-1].put("", _scalar(word))
            elif key or word:
                stack[-1].put(key or word, _scalar(word) if key else None)
            key = word = ""
            if token != "," and len(stack) > 1:
                stack.pop().closed = token == "]"
                listed.pop()
        elif token == ":":
            key, word = _scalar(word) or "", ""
        else:
            word = token
    if key:
        stack[-1].put(key, _scalar(word))
    found = next((value for key, value in whole.entries if not key), None)
    return found() if callable(found) else found
