"""Long lists of one flow mapping a line, such as 100,000 segments: read by a regular expression instead of
the YAML parser, at a tenth of the time, with the same places.

A run of at least `SHORTEST` such lines is taken out of the text and a mark left in its place, which the
parser finds as an item of a list; blank lines keep the lines behind it where they were. Only what YAML reads
in one way counts as such a line: plain words, no quotes, no comments, no nesting. Where the mark is no item
of a list (the lines stood in a block of text), the text is parsed as it is.
"""

from __future__ import annotations

import re
from bisect import bisect_right
from collections.abc import Callable, Iterator, Sequence
from typing import Any, Generic, NamedTuple, TypeVar, overload

SHORTEST = 200
"""Lines from which on it pays."""

MARK = "\ue000run "
"""What stands for a run: begins with a character of no meaning, which no document has."""

_WORD = r"[\w.%/°²³+\-]+"
_PAIR = rf"[a-z_]+: -?[\w.][\w.%/°²³+\-]*(?: {_WORD})*"
_LINE = rf"- \{{{_PAIR}(?:, {_PAIR})*\}}\n"
_RUN = rf"(?m)^( +){_LINE}(?:\1{_LINE}){{{SHORTEST - 1},}}"

N = TypeVar("N")


class UniformLines(NamedTuple):
    """Lines of one mapping each: number of the first, the mapping's column, the lines, what they say."""

    line: int
    column: int
    lines: tuple[str, ...]
    rows: list[dict[str, str]]

    def pairs(self, position: int) -> list[tuple[str, int, str, int]]:
        """One line's keys and values with their columns: (key, column, value, column)."""
        found, at = [], self.column + 1
        for key, value in self.rows[position].items():
            behind = at + len(key) + 2
            found.append((key, at, value, behind))
            at = behind + len(value) + 2
        return found


def taken_out(text: str) -> tuple[str, list[UniformLines]]:
    """The text with marks instead of its runs, and the runs; the text itself and none where there are none.

    Texts with anchors, or with something that could be mistaken, have none.
    """
    if "&" in text or MARK[0] in text or text.count("\n") < SHORTEST:
        return text, []
    parts: list[str] = []
    runs: list[UniformLines] = []
    end = line = 0
    for match in re.finditer(_RUN, text):
        lines = tuple(match[0].split("\n")[:-1])
        column = len(match[1]) + 3
        rows = None if "null" in match[0].lower() else _rows(lines, column)
        if rows is None:
            continue
        line += text.count("\n", end, match.start())
        parts += [text[end : match.start()], match[1], f"- {MARK}{len(runs)}", "\n" * len(lines)]
        runs.append(UniformLines(line + 1, column, lines, rows))
        line, end = line + len(lines), match.end()
    return ("".join((*parts, text[end:])), runs) if runs else (text, [])


def _rows(lines: Sequence[str], column: int) -> list[dict[str, str]] | None:
    """What the lines say; None where a key comes twice in one."""
    rows = []
    for line in lines:
        body = line[column:-1]
        if ", " not in body:
            key, _, value = body.partition(": ")
            rows.append({key: value})
            continue
        pairs = body.split(", ")
        row = dict([pair.split(": ") for pair in pairs])
        if len(row) < len(pairs):
            return None
        rows.append(row)
    return rows


class Items(Sequence[N], Generic[N]):
    """Items of a list of which runs were taken out; those of a run are made when they are asked for.

    parts: items as they are, and runs, in their order. make: an item of a run by its position there.
    """

    def __init__(self, parts: Sequence[N | UniformLines], make: Callable[[UniformLines, int], N]) -> None:
        self.parts = tuple(parts)
        self._make = make
        self._starts = [0]
        for part in self.parts:
            self._starts.append(self._starts[-1] + (len(part.rows) if isinstance(part, UniformLines) else 1))

    def __len__(self) -> int:
        return self._starts[-1]

    @overload
    def __getitem__(self, place: int) -> N: ...
    @overload
    def __getitem__(self, place: slice) -> list[N]: ...
    def __getitem__(self, place: int | slice) -> N | list[N]:
        if isinstance(place, slice):
            return [self[at] for at in range(*place.indices(len(self)))]
        if not -len(self) <= place < len(self):
            raise IndexError(place)
        at = place % len(self)
        number = bisect_right(self._starts, at) - 1
        part = self.parts[number]
        return self._make(part, at - self._starts[number]) if isinstance(part, UniformLines) else part

    def __iter__(self) -> Iterator[N]:
        return (self[at] for at in range(len(self)))

    @property
    def own(self) -> list[tuple[int, N]]:
        """The items that belong to no run, with their positions."""
        parts = zip(self._starts, self.parts, strict=False)
        return [(at, part) for at, part in parts if not isinstance(part, UniformLines)]

    def plain(self, of: Callable[[N], Any]) -> list[Any]:
        """All items as plain data; of: makes that of an item that belongs to no run."""
        found: list[Any] = []
        for part in self.parts:
            if isinstance(part, UniformLines):
                found += part.rows
            else:
                found.append(of(part))
        return found
