"""What a command came to, without its sentences, and where two of them differ."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

TEXT = {
    "why": "reasons, windows, their ends and demands, findings, measurable requirements, faults",
    "remedy": "findings, faults",
    "would": "measurable requirements",
    "lacks": "windows",
    "detail": "events",
    "assumptions": "rehearsals, measured values, faults, ensembles",
    "reason": "requirements",
    "withheld": "evaluations",
    "notes": "evaluations",
    "how": "measured values",
    "unseen": "measured values",
    "would_decide": "measured values",
    "elsewhere": "measured values",
    "remarks": "stored runs",
    "title": "faults",
    "note": "faults",
    "words": "leads of faults",
    "says_little_because": "faults",
    "value": "reasons, where it is in words instead of a figure",
}
"""Fields that hold sentences for people, and of what. Of each only this is compared: whether it is empty, or,
of a list of sentences, how many they are. A field that holds a figure is compared whatever it is called.
"""

_PLACE = re.compile(r"^((?:[^:\s][^:]*)):(\d+)(?::(\d+))?: ")


@dataclass(frozen=True)
class Outcome:
    """What a command came to. data: its JSON document, None where it printed none. places: file:line:column
    of each line of its standard error that begins with one, in their order.
    """

    code: int
    data: Any
    places: tuple[str, ...]


@dataclass(frozen=True)
class Difference:
    """A place at which two outcomes differ, and what stands there."""

    path: str
    before: str
    after: str

    @property
    def kind(self) -> str:
        """The path without numbers, and which side lacks a part or keys."""
        path = re.sub(r"\[\d+\]", "[]", self.path)
        if path.endswith("{}"):
            return f"{path.rsplit('.', 1)[-1]} {self.before} -> {self.after}"
        return f"{path} -> -" if self.after == "-" else f"{path} - ->" if self.before == "-" else path


def outcome_of(answer: dict[str, Any]) -> Outcome:
    """From a worker's answer."""
    places = [found[0].rstrip(": ") for line in answer["err"].splitlines() if (found := _PLACE.match(line))]
    text = answer["out"]
    return Outcome(answer["code"], json.loads(text) if text.startswith("{") else None, tuple(places))


def differences(before: Outcome, after: Outcome) -> Iterator[Difference]:
    """Where two outcomes differ: exit code, places of complaints, then the JSON document in its order."""
    yield from _differ("exit code", before.code, after.code)
    yield from _differ("places", list(before.places), list(after.places))
    yield from _differ("", before.data, after.data)


def _differ(path: str, before: Any, after: Any) -> Iterator[Difference]:
    if isinstance(before, dict) and isinstance(after, dict):
        gone, new = (
            ", ".join(k for k in before if k not in after),
            ", ".join(k for k in after if k not in before),
        )
        if gone or new:
            yield Difference(f"{path}{{}}", gone or "-", new or "-")
        elif list(before) != list(after):
            yield Difference(f"{path}{{}}", ", ".join(before), ", ".join(after))
        for key in before:
            if key in after:
                one, other = before[key], after[key]
                if key in TEXT and _sentence(one) and _sentence(other):
                    one, other = _shape_of(one), _shape_of(other)
                yield from _differ(f"{path}.{key}" if path else key, one, other)
    elif isinstance(before, list) and isinstance(after, list):
        yield from _differ_in_list(path, before, after)
    elif type(before) is not type(after) or before != after:
        yield Difference(path, _shown(before), _shown(after))


def _differ_in_list(path: str, before: list[Any], after: list[Any]) -> Iterator[Difference]:
    """Two lists: whether their order is another, what differs within a part, and what only one of them has.

    Parts belong together where all their ids (texts that are no sentences) are the same, in their order; of
    the rest, where neither list has more, each is compared with the one in its place.
    """
    left: dict[str, list[int]] = {}
    for number, part in enumerate(after):
        left.setdefault(_ids(part), []).append(number)
    pairs = {number: places.pop(0) for number, part in enumerate(before) if (places := left.get(_ids(part)))}
    gone = [number for number in range(len(before)) if number not in pairs]
    new = sorted(number for places in left.values() for number in places)
    if list(pairs.values()) != sorted(pairs.values()):
        yield Difference(f"{path}[] order", str(list(pairs)), str(list(pairs.values())))
    if len(gone) == len(new):
        pairs.update(zip(gone, new, strict=True))
        gone, new = [], []
    for number in sorted(pairs):
        yield from _differ(f"{path}[{number}]", before[number], after[pairs[number]])
    yield from (Difference(f"{path}[{number}]", _shown(before[number]), "-") for number in gone)
    yield from (Difference(f"{path}[]", "-", _shown(after[number])) for number in new)


def _ids(part: Any) -> str:
    """Its texts that are no sentences; nothing for a figure or a list."""
    if not isinstance(part, dict):
        return "" if isinstance(part, (int, float, list)) else _shown(part)
    return ", ".join(
        f"{key}={each}" for key, each in part.items() if isinstance(each, str) and key not in TEXT
    )


def _sentence(value: Any) -> bool:
    """Whether it may be a sentence, several, or none: no figure, and nothing with parts of its own."""
    parts = value if isinstance(value, list) else [value]
    return all(part is None or isinstance(part, str) for part in parts)


def _shape_of(text: Any) -> str:
    """What is compared of a sentence, or of a list of sentences."""
    if isinstance(text, list):
        return f"{len(text)} sentences"
    return "a sentence" if text else "no sentence"


def _shown(value: Any) -> str:
    text = json.dumps(value, ensure_ascii=False)
    return text if len(text) <= 120 else f"{text[:117]}..."
