"""A YAML text as nodes that know where they stand: scalars stay the text that was written.

Nothing is guessed from the look of a scalar: `on`, `1e3`, `2026-03-02` and `00117` are text until a model
asks for more. What would let a small document grow without bound (aliases of aliases, deep nesting) is
refused.
"""

from __future__ import annotations

import contextlib
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal

from railwright.documents.complaints import explained, is_ours
from railwright.documents.sources import Location, Problem
from railwright.documents.uniform import MARK, Items, UniformLines, taken_out
from railwright.quantities import quoted

DEEPEST = 40
MOST_FROM_ALIASES = 10_000
_NULLS = ("", "~", "null", "Null", "NULL")
_CURLY = tuple("“”„‟‘’‚«»")
_ODD_END = re.compile("\r(?!\n)|[\x85\u2028\u2029]")
"""What ends a line for some programs, the YAML parser among them, and not for others."""
_ODD_INDENT = re.compile(r"^[ ]*([\u00a0\u1680\u2000-\u200b\u202f\u205f\u3000])", re.MULTILINE)


@dataclass(slots=True)
class Entry:
    """A key of a mapping with its value."""

    line: int
    column: int
    value: Node


@dataclass(slots=True)
class Node:
    """A scalar (text: None where nothing is written), a mapping or a list.

    size: number of nodes in it, aliases expanded.
    """

    kind: Literal["scalar", "mapping", "list"]
    line: int
    column: int
    text: str | None = None
    entries: dict[str, Entry] = field(default_factory=dict)
    items: list[Node] | Items[Node] = field(default_factory=list)
    size: int = 1

    def plain(self) -> Any:
        """The same as dict, list, str and None."""
        if self.kind == "mapping":
            return {key: entry.value.plain() for key, entry in self.entries.items()}
        if self.kind == "list":
            if isinstance(self.items, Items):
                return self.items.plain(Node.plain)
            return [item.plain() for item in self.items]
        return self.text

    def child(self, part: str | int) -> Node | None:
        """What stands under a key or at a position of a list; None where nothing does."""
        if self.kind == "mapping" and str(part) in self.entries:
            return self.entries[str(part)].value
        if self.kind == "list" and isinstance(part, int) and 0 <= part < len(self.items):
            return self.items[part]
        return None

    def get(self, *path: str | int) -> Node | None:
        """The node at a path; None where there is none."""
        node: Node | None = self
        for part in path:
            node = node.child(part) if node else None
        return node

    def place(self, path: Sequence[str | int], *, key: bool = False) -> tuple[int, int]:
        """Line and column of what stands at the path: a scalar itself, the key of a mapping or list.

        Where the path leads nowhere, the nearest parent's. key: the last key rather than its value.
        """
        node, place = self, (self.line, self.column)
        for depth, part in enumerate(path):
            value = node.child(part)
            if value is None:
                break
            place = (value.line, value.column)
            if node.kind == "mapping" and (
                value.kind != "scalar" or value.text is None or (key and depth == len(path) - 1)
            ):
                entry = node.entries[str(part)]
                place = (entry.line, entry.column)
            node = value
        return place

    def walk(self, path: tuple[str | int, ...] = ()) -> Iterator[tuple[tuple[str | int, ...], Node]]:
        """Every node below and including this one, with its path; of long lists of like lines, which hold a
        value under each key, the list alone.
        """
        yield path, self
        for key, entry in self.entries.items():
            yield from entry.value.walk((*path, key))
        own = self.items.own if isinstance(self.items, Items) else enumerate(self.items)
        for position, item in own:
            yield from item.walk((*path, position))


class Unreadable(Exception):
    """What makes it useless to read on."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        super().__init__(str(problem))


class _Composer:
    """Builds nodes from parser events, with a stack instead of recursion."""

    def __init__(self, file: str, ours: bool, runs: Sequence[UniformLines] = ()) -> None:
        self.file = file
        self.ours = ours  # else nothing of the text may be repeated
        self.runs = runs
        self.marked: list[Node] = []  # lists with runs in them, one entry for each
        self.problems: list[Problem] = []
        self.open: list[tuple[Node, Node | None, str | None]] = []  # node, key waiting for its value, anchor
        self.anchors: dict[str, Node | None] = {}
        self.root: Node | None = None
        self.documents = 0
        self.from_aliases = 0

    def stop(self, line: int, column: int, message: str) -> Unreadable:
        return Unreadable(Problem(Location(self.file, line, column), message))

    def shown(self, before: str, word: str, otherwise: str) -> str:
        """A word of the text, for a message; something else of a text of which nothing may be repeated."""
        return f"{before}{quoted(word)}" if self.ours else otherwise

    def take(self, event: Any) -> None:
        """One parser event."""
        name = type(event).__name__
        line, column = event.start_mark.line + 1, event.start_mark.column + 1
        if getattr(event, "tag", None) is not None and name != "DocumentStartEvent":
            got = self.shown("the tag ", str(event.tag), "a tag")
            raise self.stop(line, column, f"expected a plain value, got {got}; leave it out")
        if name == "ScalarEvent":
            plain = event.implicit[0] and event.style in (None, "")
            text = None if plain and event.value in _NULLS else event.value
            if plain and event.value[:1] in _CURLY:
                got = f"expected a plain quote, got the typographic {event.value[0]}"
                raise self.stop(line, column, f"{got}; write '\"' at both ends of the text, or no quotes")
            self.finish(Node("scalar", line, column, text), event.anchor)
        elif name in ("MappingStartEvent", "SequenceStartEvent"):
            if len(self.open) >= DEEPEST:
                raise self.stop(
                    line, column, f"expected at most {DEEPEST} levels of nesting, got more; make it flatter"
                )
            if event.anchor is not None:
                self.anchors[event.anchor] = None
            kind: Literal["mapping", "list"] = "mapping" if name == "MappingStartEvent" else "list"
            self.open.append((Node(kind, line, column), None, event.anchor))
        elif name in ("MappingEndEvent", "SequenceEndEvent"):
            node, _, anchor = self.open.pop()
            self.finish(node, anchor)
        elif name == "AliasEvent":
            self.finish(self.alias(event.anchor, line, column), None)
        elif name == "DocumentStartEvent":
            self.documents += 1
            if self.documents > 1:
                raise self.stop(
                    line, column, "expected one document in the file, got a second one; remove the '---'"
                )

    def alias(self, name: str, line: int, column: int) -> Node:
        """The node behind an alias, as long as aliases do not multiply."""
        target = self.anchors.get(name)
        if target is None:
            got = "stands inside its own value" if name in self.anchors else "is not defined above"
            raise self.stop(
                line,
                column,
                f"expected an alias of something above, got {self.shown('', '*' + name, 'one')}, which {got}",
            )
        self.from_aliases += target.size
        if self.from_aliases > MOST_FROM_ALIASES:
            raise self.stop(
                line,
                column,
                f"expected aliases for at most {MOST_FROM_ALIASES} values, got more with "
                f"{self.shown('', '*' + name, 'the one here')}; write the values out",
            )
        return target

    def finish(self, node: Node, anchor: str | None) -> None:
        """Put a complete node where it belongs."""
        if anchor is not None:
            self.anchors[anchor] = node
        if not self.open:
            self.root = node
            return
        parent, key, parent_anchor = self.open[-1]
        if isinstance(parent.items, list) and parent.kind == "list":
            parent.items.append(node)
            parent.size += node.size
            if self.runs and node.text is not None and node.text.startswith(MARK):
                self.marked.append(parent)
        elif key is None:
            if node.kind != "scalar":
                raise self.stop(node.line, node.column, "expected a word as a key, got a list or mapping")
            self.open[-1] = (parent, node, parent_anchor)
        else:
            self.add(parent, key, node)
            self.open[-1] = (parent, None, parent_anchor)

    def add(self, parent: Node, key: Node, value: Node) -> None:
        name = key.text or ""
        if name == "<<" or not name:
            got = "the merge key '<<'; write the keys out" if name else "none"
            raise self.stop(key.line, key.column, f"expected a word as a key, got {got}")
        if name in parent.entries:
            first = parent.entries[name]
            listed = len(self.open) > 1 and self.open[-2][0].kind == "list" and key.line > first.line
            remedy = "remove one of them" + (", or begin a new entry with '- '" if listed else "")
            message = (
                f"expected each key once, got {quoted(name)} again (first in line {first.line}); {remedy}"
            )
            self.problems.append(Problem(Location(self.file, key.line, key.column), message))
            return
        parent.entries[name] = Entry(key.line, key.column, value)
        parent.size += 1 + value.size


def _in_run(run: UniformLines, position: int) -> Node:
    """The node of one line of a run."""
    line = run.line + position
    entries = {
        key: Entry(line, column, Node("scalar", line, behind, value))
        for key, column, value, behind in run.pairs(position)
    }
    return Node("mapping", line, run.column, None, entries, size=1 + 2 * len(entries))


def _place(text: str, at: int) -> tuple[int, int]:
    """Line and column of a character of a text."""
    return text.count("\n", 0, at) + 1, at - text.rfind("\n", 0, at)


def compose(text: str, file: str) -> tuple[Node | None, list[Problem]]:
    """The nodes of a YAML text (None where it is empty), and its duplicate keys.

    Raises `Unreadable` where it is no YAML.
    """
    from ruamel.yaml import YAML
    from ruamel.yaml.error import MarkedYAMLError, YAMLError
    from ruamel.yaml.reader import ReaderError

    if odd := _ODD_END.search(text):
        got = f"got U+{ord(odd[0]):04X}, which not every program takes for one"
        place = _place(text, odd.start())
        raise _Composer(file, False).stop(
            *place, f"expected a line feed at the end of a line, {got}; replace it"
        )
    if odd := _ODD_INDENT.search(text):
        line, column = _place(text, odd.start(1))
        name = "a no-break space" if odd[1] in "\u00a0\u202f" else "another kind of space"
        got = f"got {name} (U+{ord(odd[1]):04X})"
        raise _Composer(file, False).stop(
            line, column, f"expected plain spaces for indentation, {got}; replace it by a space"
        )
    # The parser in C is fifteen times as fast. What it refuses, the other one explains better; of tabs it is
    # too forgiving.
    ours = is_ours(text)
    short, runs = taken_out(text) if "\t" not in text else (text, [])
    if "\t" not in text:
        with contextlib.suppress(YAMLError, ValueError, OverflowError):
            if (made := _composed(YAML(typ="safe").parse(short), _Composer(file, ours, runs))) is not None:
                return made
            runs, short = [], text
            return _composed(YAML(typ="safe").parse(text), _Composer(file, ours)) or (None, [])
    composer = _Composer(file, ours, runs)
    try:
        return _composed(YAML(typ="safe", pure=True).parse(short), composer) or (None, [])
    except MarkedYAMLError as error:
        line, column, message = explained(error, text)
        raise composer.stop(line, column, message) from None
    except ReaderError as error:
        raise composer.stop(
            *_place(text, error.position),
            f"expected text, got the control character U+{int(error.character):04X}",
        ) from None
    except (YAMLError, ValueError, OverflowError) as error:  # \U escapes beyond Unicode end as ValueError
        what = f" ({' '.join(str(error).split())[:80]})" if ours else ""
        message = f"expected YAML, got an escape or mark that is none{what}"
        raise composer.stop(1, 1, message) from None


def _composed(events: Iterable[Any], composer: _Composer) -> tuple[Node | None, list[Problem]] | None:
    """The nodes and their problems; None where a run's mark is no item of a list."""
    for event in events:
        composer.take(event)
    if len(composer.marked) < len(composer.runs):
        return None
    for node in composer.marked:
        if isinstance(node.items, list):
            parts = [
                composer.runs[int(item.text.removeprefix(MARK))]
                if item.text is not None and item.text.startswith(MARK)
                else item
                for item in node.items
            ]
            node.items = Items(parts, _in_run)
    return composer.root, composer.problems
