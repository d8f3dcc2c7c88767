"""Edits of documents, written as lines, and which twists come together in one job.

`PATH = YAML` puts, `PATH + YAML` inserts into a list before the index that the path ends with (`-`: at its
end), `drop PATH` takes away. `<1.1..1.9 A>` is a figure that the dice draw.
"""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from functools import cache
from itertools import product
from random import Random

from benchmarks.same_outcomes.documents import Documents, drawn, loaded
from benchmarks.same_outcomes.twists import TWISTS

SOLITARY = ("hook-up", "hook-up-impossible", "auto-impossible", "not-rehearsed", "return-short")
"""What leaves little of the other rules' business."""


@cache
def pairs(seed: int) -> tuple[tuple[tuple[str, ...], ...], ...]:
    """The twists in an order of the seed, two at a time where they are about different places."""
    left = list(TWISTS)
    Random(seed).shuffle(left)
    made = []
    while left:
        first = left.pop(0)
        other = next((each for each in left if not _clash(first, each)), None)
        if other is not None:
            left.remove(other)
        made.append((first,) if other is None else (first, other))
    return tuple(made)


def _clash(one: Sequence[str], other: Sequence[str]) -> bool:
    """Whether two twists are better kept apart: one may undo the other, or hide what it is for."""
    if one[0] in SOLITARY or other[0] in SOLITARY:
        return True
    rehearsed = [each[0].endswith(("-rehearsed", "-for-ever", "-low", "-margin")) for each in (one, other)]
    return all(rehearsed) or any(_same_place(*edits) for edits in product(one[1:], other[1:]))


def _same_place(one: str, other: str) -> bool:
    """Whether one edit's place lies within the other's, both without the index of an insertion."""
    places = [
        edit.removeprefix("drop ").partition(" = ")[0].partition(" + ")[0].split("/") for edit in (one, other)
    ]
    shorter = min(len(place) for place in places)
    return places[0][:shorter] == places[1][:shorter]


def apply(documents: Documents, dice: Random, edits: tuple[str, ...]) -> None:
    """Make the edits; one whose place another twist has taken away is left out."""
    for edit in edits:
        with suppress(KeyError, IndexError, TypeError):
            apply_one(documents, drawn(dice, edit))


def apply_one(documents: Documents, edit: str) -> None:
    """Make one edit, its figures drawn; KeyError, IndexError or TypeError where its place is not there."""
    if edit.startswith("drop "):
        documents.drop(edit.removeprefix("drop "))
        return
    path, sign, text = edit.partition(" = ")
    inserted = edit.partition(" + ")
    if not sign or len(inserted[0]) < len(path):
        documents.insert(inserted[0], loaded(inserted[2]))
    else:
        documents.put(path, loaded(text))
