"""The cells of the matrix: which command of which supply, which time it occurs, and what goes wrong then."""

from __future__ import annotations

import random
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

_UNIT = re.compile(r"(?:^|;):?([^; ]+)( ?)")


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of fault. line: its words in a script. within: how soon after it every output must be off that
    still can be [s]; inf: a run may go on after it. controllable: whether the supply still does as it is
    told. notices: nobody can overlook it.
    """

    name: str
    line: str
    within: float = 1.0
    controllable: bool = True
    notices: bool = True


KINDS = (
    Kind("connection reset", "reset"),
    Kind("refuses for a while", "refuses at {when} for 0.4 s"),
    Kind("reboots", "reboots at {when} for 0.5 s"),
    Kind("silent", "silent", 3.0),
    Kind("deaf", "deaf", 3.0, controllable=False),
    Kind("deaf for a while", "deaf at {when} for 0.8 s", 3.0),
    Kind("slow by 50 ms", "slow 50 ms", float("inf"), notices=False),
    Kind("slow by 2 s", "slow 2 s", 3.5, controllable=False),
    Kind("half an answer", "half answer", 3.0),
    Kind("answer without end", "endless answer", 1.5),
    Kind("two answers", "two answers", 2.0),
    Kind("garbage", "garbage"),
    Kind("previous answer again", "previous answer", float("inf"), notices=False),
    Kind("wrong answer", "wrong answer", float("inf"), notices=False),
    Kind("error in the queue", "error -222", float("inf"), notices=False),
    Kind("outputs go off", "goes off", float("inf"), notices=False),
    Kind("outputs come on", "comes on", float("inf"), notices=False),
    Kind("output comes on again", "comes on again", float("inf"), notices=False),
    Kind("output stays on", "stays on", float("inf"), controllable=False, notices=False),
    Kind(
        "output stays on and says off",
        "stays on but says off",
        float("inf"),
        controllable=False,
        notices=False,
    ),
    Kind("overheats", "overheats", float("inf"), notices=False),
    Kind("overheats and comes back", "overheats and comes back", float("inf"), notices=False),
    Kind("another client takes it over", "taken over"),
    Kind("taken over without a word", "taken over silently", 3.0),
    Kind("the run is killed", "", 1.0),
    Kind("the run hangs", "", 2.0),
)

OCCURRENCES = ("first", "middle", "last")


@dataclass(frozen=True, slots=True)
class Cell:
    """One fault at one message of one supply: at the `number`-th that contains `command`."""

    supply: str
    command: str
    occurrence: str
    number: int
    kind: Kind

    @property
    def of_run(self) -> bool:
        """Whether it is the run that fails, not a supply."""
        return not self.kind.line

    @property
    def line(self) -> str:
        """As a script of the twin says it; what happens to the run, in words."""
        if self.of_run:
            return f'{self.kind.name} before {self.supply} is sent "{self.command}" {self.number}'
        when = f'"{self.command}" {self.number}'
        line = self.kind.line
        return f"{self.supply}: " + (line.format(when=when) if "{when}" in line else f"{line} at {when}")


def commands_of(message: str) -> Iterator[str]:
    """What a message contains, each as a text that a script can look for: headers, a space behind those of
    commands with parameters.
    """
    for header, space in _UNIT.findall(message):
        yield header if header.endswith("?") else header + space


def all_cells(messages: Sequence[tuple[str, str]], kinds: Sequence[Kind] = KINDS) -> list[Cell]:
    """Every distinct command of the (supply, message) of an undisturbed run, at its first, middle and last
    occurrence, with every kind of fault.
    """
    counts: dict[tuple[str, str], int] = {}
    for supply, message in messages:
        for command in set(commands_of(message)):
            counts[supply, command] = counts.get((supply, command), 0) + 1
    cells = []
    for (supply, command), count in sorted(counts.items()):
        numbers = {"first": 1, "middle": (count + 1) // 2, "last": count}
        for occurrence in OCCURRENCES:
            if numbers[occurrence] in [
                numbers[each] for each in OCCURRENCES[: OCCURRENCES.index(occurrence)]
            ]:
                continue
            cells += [Cell(supply, command, occurrence, numbers[occurrence], kind) for kind in kinds]
    return cells


def drawn(cells: Sequence[Cell], count: int, seed: int) -> list[Cell]:
    """So many of the cells, drawn without repetition, the order of the document kept."""
    if count >= len(cells):
        return list(cells)
    chosen = set(random.Random(seed).sample(range(len(cells)), count))
    return [cell for place, cell in enumerate(cells) if place in chosen]
