"""Changing one value of a document's text, and nothing else of it: comments and layout stay."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from typing import Any, NamedTuple

from railwright.documents.nodes import Node, Unreadable, compose
from railwright.frozen import FrozenDict

WAY = (
    "a path has the keys of one document from its outermost one, and positions in a list from 0, such as "
    "inputs.main.nominal or steps.0.hold"
)
"""What a path is, for those who wrote one that leads nowhere."""

_BRACKETS = re.compile(r"\[(\d+)\]")


class NotEdited(ValueError):
    """A change that cannot be made; one line that says what was expected, what came, and what to do."""


def leads_nowhere(path: Sequence[str | int], wanted: str, part: str | int) -> NotEdited:
    """What to raise for a path of which this part is not there; one with brackets is shown as it is meant."""
    shown = ".".join(map(str, path))
    plain = _BRACKETS.sub(r".\1", shown)
    return NotEdited(f"{shown}: {wanted}, got '{part}'; {WAY if plain == shown else f'write {plain}'}")


class _Span(NamedTuple):
    """A value in the text, from `start` to `end`.

    kind: "Scalar", "Mapping", "Sequence" or "Alias". mark: of a scalar the quote, '|' or '>' that begins it,
    of a collection within brackets 'flow', else ''. column: of its keys. parts: key or position -> value.
    last: the innermost value that ends where it ends, None where nothing is in it.
    """

    kind: str
    mark: str
    start: int
    end: int
    column: int = 0
    parts: Mapping[str, _Span] = FrozenDict()
    last: _Span | None = None


_OF_LINES = ("|", ">")
"""Marks of texts that go on up to a line that is indented less."""


def edited(text: str, path: Sequence[str | int], value: str | float | bool) -> str:
    """The text with the value at a path of keys and positions changed, or added to the mapping there.

    value: as a document has it (`"0.9 A"`), or YAML of its own (`"{from: left.1}"`). Raises NotEdited where
    the path leads nowhere, where a block of several lines stands there, and where the text would then say
    something else at any other place.
    """
    shown = ".".join(map(str, path))
    wanted = _said(text)
    written, at_path = _written(value)
    made = _changed(text, path, written)
    _put(wanted, path, at_path)
    try:
        said = _said(made)
    except Unreadable:
        told = "expected a text in which this value can be changed, got one that cannot be read then"
        raise NotEdited(f"{shown}: {told}; change it by hand") from None
    if (other := next(_differences(wanted, said), None)) is not None:
        told = f"expected a change of this value alone, got one of {'.'.join(other) or 'the whole'}"
        remedy = "write out what an alias repeats, or change the text by hand"
        if not text.endswith("\n"):
            # Behind a text of lines that the file ends in, a key gives that a line feed more than it has.
            with suppress(NotEdited):
                edited(text + "\n", path, value)
                remedy = "add a line feed at the end of the file"
        raise NotEdited(f"{shown}: {told}; {remedy}")
    return made


def depth(root: Node, path: Sequence[str | int]) -> int:
    """How many parts of a path lead somewhere in a document."""
    node: Node | None = root
    for found, part in enumerate(path):
        node = node.child(_key(part, position=node.kind == "list")) if node else None
        if node is None:
            return found
    return len(path)


def _said(text: str) -> Any:
    """What a text says, as plain data; raises Unreadable."""
    root, _ = compose(text, "")
    return root.plain() if root else None


def _put(data: Any, path: Sequence[str | int], value: Any) -> None:
    """Put a value where a path leads, all but whose last part is there."""
    for part in path[:-1]:
        data = data[_key(part, position=isinstance(data, list))]
    data[_key(path[-1], position=isinstance(data, list))] = value


def _differences(one: Any, other: Any, path: tuple[str, ...] = ()) -> Iterator[tuple[str, ...]]:
    """Where two values differ, as paths; the order of keys does not count."""
    if isinstance(one, list) and isinstance(other, list) and len(one) == len(other):
        one, other = dict(enumerate(one)), dict(enumerate(other))
    if not (isinstance(one, dict) and isinstance(other, dict)):
        if one != other:
            yield path
        return
    for key in [*one, *(key for key in other if key not in one)]:
        if key not in one or key not in other:
            yield (*path, str(key))
        else:
            yield from _differences(one[key], other[key], (*path, str(key)))


def _changed(text: str, path: Sequence[str | int], written: str) -> str:
    """The text with a value as YAML put in place of what stands at the path, or added there."""
    span, shown = _spans(text), ".".join(map(str, path))
    for number, part in enumerate(path):
        above = ".".join(map(str, path[:number]))
        if span.kind == "Alias":
            alias = text[span.start : span.end]
            told = f"expected a value of its own in '{above}', got the alias {alias}"
            raise NotEdited(f"{shown}: {told}; write out what it repeats")
        child = span.parts.get(str(_key(part, position=span.kind == "Sequence")))
        if child is None:
            if number == len(path) - 1 and span.kind == "Mapping":
                key = str(part) if _WORD.fullmatch(str(part)) else _quoted(str(part))
                return _added(text, span, f"{key}: {written}")
            known = f"expected one of {_known(span)}"
            if not span.parts:
                known = f"expected nothing below '{above}', which has no keys below it"
            raise leads_nowhere(path, known, part)
        span = child
    if span.kind in ("Mapping", "Sequence") and not span.mark:
        raise NotEdited(f"{shown}: expected a single value there, got a block; name one of {_known(span)}")
    # Behind the colon of a key without a value, and behind an anchor, which stays.
    blank = " " if span.start == span.end or text[span.start].isspace() else ""
    end, behind = span.end, ""
    if span.mark in _OF_LINES:
        # What stands behind the mark stays, and the empty lines behind the text.
        header = re.compile(r"[^|>]*[|>][-+\d]*([^\r\n]*)").match(text, span.start)
        assert header is not None
        end, behind = max(header.end(), len(text[:end].rstrip("\r\n"))), header[1]
    return text[: span.start] + blank + written + behind + text[end:]


_WORD = re.compile(r"(?!null$)[A-Za-z]\w*(?:-\w+)*|\d+", re.IGNORECASE | re.ASCII)
"""A key that needs no quotes."""


def _key(part: str | int, *, position: bool) -> str | int:
    """A part of a path as the key of a mapping, or, if it is one, as a position in a list."""
    text = str(part)
    return int(text) if position and text.isdecimal() and text.isascii() else text


def _known(span: _Span) -> str:
    if span.kind == "Mapping":
        return ", ".join(span.parts) or "no key"
    return f"0 to {len(span.parts) - 1}" if span.parts else "nothing below it"


def _written(value: str | float | bool) -> tuple[str, Any]:
    """A value as YAML and as plain data: a text is taken as it is where that is one line of YAML, else it is
    put in quotes.
    """
    if isinstance(value, bool):
        return _written("yes" if value else "no")
    text = str(value)  # the repr of a number of numpy has more in it
    with suppress(Unreadable):
        block, flow = _said(f"a: {text}  # b\nb: 1\n"), _said(f"{{a: {text}, b: 1}}")
        if text.strip() and "\n" not in text and block == flow and set(block) == {"a", "b"}:
            return text, block["a"]
    return _quoted(text), text


def _quoted(text: str) -> str:
    """A text in double quotes, with escapes for what ends a line in YAML, or is not allowed."""
    quotes = json.dumps(text, ensure_ascii=False)
    return re.sub("[\x7f-\x9f\u2028\u2029\ufeff\ufffe\uffff]", lambda odd: f"\\u{ord(odd[0]):04x}", quotes)


def _added(text: str, mapping: _Span, entry: str) -> str:
    """The text with a new entry at the end of a mapping."""
    last = mapping.last
    if mapping.mark:
        # Directly behind the last value: a comma or a comment behind that stays behind the new one.
        at = text.index("{", mapping.start) + 1 if last is None else last.end
        return f"{text[:at]}{', ' if last else ''}{entry}{text[at:]}"
    assert last is not None
    # Before what follows the last entry: a comment after it belongs to what comes then.
    if last.mark in _OF_LINES:
        at = len(text[: last.end].rstrip("\r\n"))
        if "+" in text[last.start : last.end].partition("\n")[0]:  # the empty lines belong to it, too
            at = len(text[: last.end].removesuffix("\n").removesuffix("\r"))
    else:
        end = text.find("\n", last.end)
        at = len(text[:end].removesuffix("\r")) if end >= 0 else len(text)
    line_end = "\r\n" if "\r\n" in text else "\n"
    return f"{text[:at]}{line_end}{' ' * mapping.column}{entry}{text[at:]}"


def _spans(text: str) -> _Span:
    """The values of a text, which can be read."""
    from ruamel.yaml import YAML
    from ruamel.yaml.error import YAMLError

    for pure in (False, True):  # one takes a tab that the other does not
        with suppress(YAMLError):
            events = iter(YAML(typ="safe", pure=pure).parse(text))
            return _span(next(each for each in events if hasattr(each, "anchor")), events)
    raise AssertionError("a text that was read, and cannot be read again")


def _span(begins: Any, events: Iterator[Any]) -> _Span:
    """The value of which the parser tells that it begins, with its parts."""
    kind = type(begins).__name__.removesuffix("Event").removesuffix("Start")
    start, end, column = begins.start_mark.index, begins.end_mark.index, begins.start_mark.column
    if kind != "Alias" and begins.anchor is not None:
        start += 1 + len(begins.anchor)
    if kind in ("Scalar", "Alias"):
        return _Span(kind, getattr(begins, "style", None) or "", start, end)
    parts: dict[str, _Span] = {}
    last: _Span | None = None
    while not type(event := next(events)).__name__.endswith("EndEvent"):
        name = str(len(parts))
        if kind == "Mapping":
            name = str(getattr(event, "value", event.anchor))
            if not parts and begins.anchor is not None:
                column = event.start_mark.column
            event = next(events)
        last = parts[name] = _span(event, events)
    if begins.flow_style:
        return _Span(kind, "flow", start, event.end_mark.index, column, parts, last)
    if last is not None and not last.mark and last.last is not None:
        last = last.last  # of blocks, which all end there
    return _Span(kind, "", start, last.end if last else end, column, parts, last)
