"""The lines of a script of faults, read: `left: silent at message 40`.

    SUPPLY[.OUTPUT]: KIND [WHAT] [at|after WHEN] [for HOW LONG]

WHEN: `message 40` (of this supply, counted from 1), `VOLT? 3` (the third that contains this command, in any
spelling; left out: the first), `"OUTP OFF" 2` (the second that contains this text), `1.5 s` (after the first
message), `0.5 s .. 2 s` (at an instant between, drawn by the seed). `after`: when that message has been
carried out and answered. Left out: from the start. HOW LONG: `0.3 s`, `5 times` or `ever`.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from railwright.dialects.dialect import Dialect
from railwright.documents.bench import Supply
from railwright.quantities import parse_value
from railwright.scpi.errors import ScpiError
from railwright.scpi.grammar import Unit, parse_message
from railwright.twin.mischief.kinds import COMES_ON_AGAIN_AFTER, KINDS, Kind

_TOKEN = re.compile(r'"[^"]*"|[^\s"]+')
_TIMES = re.compile(r"(\d{1,9}) times?")


class MischiefError(ValueError):
    """A line of a script that cannot be understood; one line for people."""


@dataclass(frozen=True, slots=True)
class When:
    """When a fault begins: at the `count`-th message that has the header (`VOLT?`) or contains the text,
    both empty: at the `count`-th message; or at a time between the two [s], after the first message. `after`:
    when the message has been answered. Without any of them: from the start.
    """

    count: int = 0
    header: str = ""
    text: str = ""
    between: tuple[float, float] | None = None
    after: bool = False


@dataclass(frozen=True, slots=True)
class Mischief:
    """One fault of a script. line: as it was written. outputs: names in the bench document, empty for a kind
    that is not about outputs. value: time [s], error number or message that the kind takes. seconds, times:
    how long it lasts [s], and how often it acts at most.
    """

    line: str
    supply: str
    kind: str
    outputs: tuple[str, ...]
    value: float | str
    when: When
    seconds: float
    times: float


def parse_mischief(lines: Iterable[str], supplies: Mapping[str, Supply]) -> tuple[Mischief, ...]:
    """The faults that these lines name, on a bench with these supplies. Raises MischiefError."""
    return tuple(_parse(line, supplies) for line in lines)


def commands_of(message: bytes | str, dialect: Dialect | None = None) -> list[object]:
    """What a message's headers mean to a twin of this dialect, short or long; one that is no command is left
    out, and what stands after a syntax error.
    """
    data = message.encode("latin-1", "replace") if isinstance(message, str) else message
    found: list[object] = []
    try:
        for unit in parse_message(data):
            meaning = _meaning(unit, dialect)
            found += [] if meaning is None else [meaning]
    except ScpiError:
        pass  # the supply itself reports it
    return found


def _meaning(unit: Unit, dialect: Dialect | None) -> object | None:
    from railwright.twin.commands.spellings import tree_of

    try:
        tree = tree_of("") if dialect is None else tree_of(dialect.name, dialect.addressing)
        return tree.find(unit.nodes, unit.query)
    except ScpiError:
        return None


def _parse(line: str, supplies: Mapping[str, Supply]) -> Mischief:
    text = " ".join(line.split())
    if text.count('"') % 2:
        raise MischiefError(f"expected a second quotation mark, got '{text}'")
    supply, output, rest = _target(text, supplies)
    words = _TOKEN.findall(rest)
    last = next((n for n, word in enumerate(words) if word == "for"), len(words))
    first = next((n for n, word in enumerate(words[:last]) if word in ("at", "after")), last)
    name, given = _kind(words[:first], text)
    kind = KINDS[name]
    if output is not None and not kind.of_output:
        raise MischiefError(f"'{name}' is about a whole supply: expected '{supply}: …', got '{text}'")
    outputs = () if not kind.of_output else tuple(supplies[supply].outputs) if output is None else (output,)
    seconds, times = (
        _extent(words[last + 1 :], kind, text) if last < len(words) else (kind.seconds, kind.times)
    )
    dialect = supplies[supply].dialect
    when = _when(words[first + 1 : last], words[first] == "after", dialect, text) if first < last else When()
    return Mischief(text, supply, name, outputs, _value(given, kind, name, text), when, seconds, times)


def _target(text: str, supplies: Mapping[str, Supply]) -> tuple[str, str | None, str]:
    """Supply, output (None: all of them), and what stands behind the colon."""
    targets: list[tuple[str, str, str | None]] = [(name, name, None) for name in supplies]
    targets += [(f"{name}.{output}", name, output) for name in supplies for output in supplies[name].outputs]
    for target, supply, output in sorted(targets, key=lambda each: -len(each[0])):
        if text.startswith(f"{target}:"):
            return supply, output, text[len(target) + 1 :]
    known = ", ".join(target for target, _, _ in targets)
    raise MischiefError(f"expected a supply or an output and a colon first ({known}), got '{text}'")


def _kind(words: list[str], text: str) -> tuple[str, list[str]]:
    """The kind that the first words name, and the words after it."""
    for name in sorted(KINDS, key=lambda each: -len(each)):
        parts = name.split()
        if words[: len(parts)] == parts:
            return name, words[len(parts) :]
    raise MischiefError(f"expected one of {', '.join(KINDS)}, got '{' '.join(words)}' in '{text}'")


def _value(words: list[str], kind: Kind, name: str, text: str) -> float | str:
    given = " ".join(words)
    match kind.takes:
        case "":
            if given:
                raise MischiefError(f"expected at, after or for behind '{name}', got '{given}' in '{text}'")
            return 0.0
        case "message":
            if not (len(words) == 1 and given.startswith('"') and given.strip('" ')):
                raise MischiefError(
                    f"expected a message such as \"VOLT 3,(@1)\" behind '{name}', got '{text}'"
                )
            return given.strip('"')
        case "number":
            if not re.fullmatch(r"-?\d{1,5}", given) or int(given) == 0:
                raise MischiefError(f"expected an error number such as -310 behind '{name}', got '{text}'")
            return float(given)
        case "time?" if not given:
            return COMES_ON_AGAIN_AFTER
    return _time(given, f"behind '{name}'", text)


def _time(given: str, where: str, text: str) -> float:
    try:
        seconds = parse_value(given, "s")
    except ValueError:
        raise MischiefError(f"expected a time such as 50 ms {where}, got '{given}' in '{text}'") from None
    if not 0.0 <= seconds < math.inf:
        raise MischiefError(f"expected a time of 0 s or more {where}, got '{given}' in '{text}'")
    return seconds


def _extent(words: list[str], kind: Kind, text: str) -> tuple[float, float]:
    """How long [s], and how often."""
    given = " ".join(words)
    if kind.seconds == 0.0:
        raise MischiefError(f"this happens at once and lasts no time: leave out 'for {given}' in '{text}'")
    if given == "ever":
        return math.inf, math.inf
    if found := _TIMES.fullmatch(given):
        if not kind.counted:
            raise MischiefError(f"expected a time or 'ever' behind 'for', got '{given}' in '{text}'")
        return math.inf, max(1.0, float(found.group(1)))
    return _time(given, "or '3 times' or 'ever' behind 'for'", text), math.inf


def _when(words: list[str], after: bool, dialect: Dialect, text: str) -> When:
    if not words:
        raise MischiefError(f"expected a message, a command or a time behind 'at' or 'after', got '{text}'")
    head, rest = words[0], words[1:]
    if head[0].isdigit() or head[0] == ".":
        low, dots, high = " ".join(words).partition("..")
        first = _time(low.strip(), "behind 'at'", text)
        second = _time(high.strip(), "behind '..'", text) if dots else first
        if second < first:
            raise MischiefError(f"expected the earlier time first, got '{' '.join(words)}' in '{text}'")
        return When(between=(first, second), after=after)
    if len(rest) > 1 or (rest and not re.fullmatch(r"[1-9]\d{0,8}", rest[0])):
        raise MischiefError(f"expected a count from 1 on behind '{head}', got '{' '.join(rest)}' in '{text}'")
    count = int(rest[0]) if rest else 1
    if head == "message":
        return When(count, after=after)
    if head.startswith('"'):
        return When(count, text=head.strip('"').upper(), after=after)
    if len(commands_of(head, dialect)) != 1:
        raise MischiefError(
            f"expected a command that the twin knows, such as VOLT?, got '{head}' in '{text}'"
        )
    return When(count, header=head, after=after)
