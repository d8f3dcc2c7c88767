"""The key below a figure: what its numbers stand for, and what has no place in the plot.

It is a part of the figure, so that a figure that is taken out of the report still says what it shows.
"""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from railwright.report.style import INK

if TYPE_CHECKING:
    from matplotlib.figure import Figure

SIZE = 5.8
"""Size of the key's letters [points]."""
LINE = 0.115
"""From one line of the key to the next [inches]."""
GAP = 0.16
"""Least distance between two columns [inches]."""
COLUMNS_AT_MOST = 4
LETTERS_AN_ENTRY = 64
"""An entry goes on in a line below, indented, after so many letters: two columns of such fit side by side."""
INDENT = "     "
LETTERS_A_LINE = 150
"""Remarks are broken after so many letters: they fill the width of a figure at this size."""


@dataclass(frozen=True, slots=True)
class DrawingKey:
    """Lines of entries in columns, read downward, and remarks as wide as the figure."""

    columns: tuple[tuple[str, ...], ...]
    remarks: tuple[str, ...]
    step: float
    """From one column to the next [inches]."""

    @property
    def height(self) -> float:
        """Inches that it takes; 0 where there is nothing to say."""
        return LINE * (max((len(column) for column in self.columns), default=0) + len(self.remarks))


def key_of(entries: Sequence[str], remarks: Sequence[str], width: float) -> DrawingKey:
    """Entries set in as many columns as fit into `width` [inches], each in one of them; long entries and
    remarks are broken into lines.
    """
    lines = tuple(line for remark in remarks for line in textwrap.wrap(remark, LETTERS_A_LINE))
    if not entries:
        return DrawingKey((), lines, 0.0)
    broken = [
        textwrap.wrap(entry, LETTERS_AN_ENTRY, subsequent_indent=INDENT, break_on_hyphens=False)
        for entry in entries
    ]
    step = max(text_width(line, SIZE) for entry in broken for line in entry) + GAP
    columns = max(1, min(COLUMNS_AT_MOST, len(entries), int((width + GAP) / step)))
    deep = -(-sum(map(len, broken)) // columns)
    split: list[list[str]] = [[]]
    for entry in broken:
        if split[-1] and len(split[-1]) + len(entry) > deep and len(split) < columns:
            split.append([])
        split[-1] += entry
    return DrawingKey(tuple(map(tuple, split)), lines, step)


def text_width(text: str, size: float) -> float:
    """Width of a text as it will be drawn [inches]; size of its letters [points]."""
    from matplotlib.textpath import TextPath

    return float(TextPath((0, 0), text, size=size).get_extents().x1) / 72.0 if text.strip() else 0.0


def draw_key(figure: Figure, key: DrawingKey, left: float, top: float) -> None:
    """Put the key into the figure; left, top: its upper left corner [inches from the lower left one]."""
    wide, high = figure.get_size_inches()
    deep = max((len(column) for column in key.columns), default=0)
    for place, column in enumerate(key.columns):
        for row, entry in enumerate(column):
            _line(figure, entry, (left + place * key.step) / wide, (top - row * LINE) / high)
    for row, remark in enumerate(key.remarks, start=deep):
        _line(figure, remark, left / wide, (top - row * LINE) / high)


def _line(figure: Figure, text: str, x: float, y: float) -> None:
    figure.text(x, y, text, fontsize=SIZE, color=INK, ha="left", va="top")
