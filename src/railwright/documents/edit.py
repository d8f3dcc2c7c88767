"""Changing one value of a document's text, and nothing else of it: comments and layout stay."""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from typing import Any

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


def edited(text: str, path: Sequence[str | int], value: str | float | bool) -> str:
    """The text with the value at a path of keys and positions changed, or added to the mapping there.

    value: as a document has it (`"0.9 A"`), or YAML of its own (`"{from: left.1}"`). Raises NotEdited where
    the path leads nowhere, or where a block of several lines stands there.
    """
    from ruamel.yaml import YAML
    from ruamel.yaml.nodes import MappingNode, ScalarNode, SequenceNode

    node, shown = YAML(typ="rt").compose(text), ".".join(map(str, path))
    for depth, part in enumerate(path):
        child = _child(node, part)
        if child is None:
            if depth == len(path) - 1 and isinstance(node, MappingNode):
                return _added(text, node, str(part), _written(value))
            above = ".".join(map(str, path[:depth]))
            known = f"expected one of {_known(node)}"
            if not isinstance(node, MappingNode | SequenceNode) or not node.value:
                known = f"expected nothing below '{above}', which has no keys below it"
            raise leads_nowhere(path, known, part)
        node = child
    if isinstance(node, MappingNode | SequenceNode) and not node.flow_style:
        raise NotEdited(f"{shown}: expected a single value there, got a block; name one of {_known(node)}")
    assert isinstance(node, ScalarNode | MappingNode | SequenceNode)
    return text[: node.start_mark.index] + _written(value) + text[node.end_mark.index :]


def _child(node: Any, part: str | int) -> Any:
    from ruamel.yaml.nodes import MappingNode, SequenceNode

    if isinstance(node, MappingNode):
        return next((value for key, value in node.value if key.value == str(part)), None)
    if isinstance(node, SequenceNode) and str(part).isdecimal() and int(part) < len(node.value):
        return node.value[int(part)]
    return None


def _known(node: Any) -> str:
    from ruamel.yaml.nodes import MappingNode, SequenceNode

    if isinstance(node, MappingNode):
        return ", ".join(str(key.value) for key, _ in node.value) or "no key"
    return (
        f"0 to {len(node.value) - 1}" if isinstance(node, SequenceNode) and node.value else "nothing below it"
    )


def _written(value: str | float | bool) -> str:
    """A value as YAML: text as it is where that is one line of YAML, else in quotes."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if not isinstance(value, str):
        return str(value)  # its repr has more in it than the number where it is one of numpy
    return value if _is_one_value(value) else json.dumps(value, ensure_ascii=False)


def _is_one_value(text: str) -> bool:
    """Whether a text is the same one value in a line of its own, with a comment after it, and between others
    in one line.
    """
    from ruamel.yaml import YAML
    from ruamel.yaml.error import YAMLError

    if not text.strip() or "\n" in text:
        return False
    yaml = YAML(typ="safe", pure=True)
    try:
        block, flow = yaml.load(f"a: {text}  # b\nb: 1\n"), yaml.load(f"{{a: {text}, b: 1}}")
        return isinstance(block, dict) and set(block) == {"a", "b"} and block == flow
    except (YAMLError, ValueError):
        return False
    except RecursionError:
        return True  # it contains itself, or is too deep: the reader of documents says so, and where


def _added(text: str, mapping: Any, key: str, value: str) -> str:
    """A new entry at the end of a mapping."""
    last = mapping.value[-1][1] if mapping.value else None
    if mapping.flow_style:
        end = mapping.end_mark.index - 1
        comma = ", " if last is not None else ""
        return f"{text[:end].rstrip()}{comma}{key}: {value}{text[end:]}"
    first = mapping.value[0][0].start_mark
    # Before what follows the last entry: a comment after it belongs to what comes then.
    end = _end_of_line(text, _last_index(last))
    return f"{text[:end]}\n{' ' * first.column}{key}: {value}{text[end:]}"


def _last_index(node: Any) -> int:
    """Where the last scalar, or flow collection, of a node ends."""
    from ruamel.yaml.nodes import MappingNode, ScalarNode, SequenceNode

    while not isinstance(node, ScalarNode) and not node.flow_style and node.value:
        node = node.value[-1][1] if isinstance(node, MappingNode) else node.value[-1]
    assert isinstance(node, ScalarNode | MappingNode | SequenceNode)
    return int(node.end_mark.index)


def _end_of_line(text: str, index: int) -> int:
    found = text.find("\n", index)
    return len(text) if found < 0 else found
