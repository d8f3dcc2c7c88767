"""Documents as plain data, written as YAML text in a manner that the dice decide; nothing here imports the
program that is compared.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from random import Random
from typing import Any

from ruamel.yaml import YAML

Data = Any
"""Mappings, lists and texts: what a YAML document holds where every scalar is a text."""

WIDTH = 105
"""Longest line of a flow mapping or list that is not broken."""

_PLAIN = re.compile(r"[A-Za-z0-9(][\w .()/·×±%°µ+-]*|-[0-9][\w .±%µ-]*")
"""Texts that need no quotation marks, neither in a block nor in a flow."""

_REMARKS = (
    "as delivered",
    "to be measured again",
    "see the data sheet",
    "kept from the last time",
    "± is a bound",
)

_DRAWN = re.compile(r"<(-?[0-9.]+)\.\.(-?[0-9.]+)( ?[^<>]*)>")


def loaded(text: str) -> Data:
    """YAML text as data; every scalar stays the text it is."""
    return YAML(typ="base").load(text)


def drawn(dice: Random, text: str) -> str:
    """The text with each `<1.1..1.9 A>` replaced by a figure between, with three digits and the unit."""

    def figure(found: re.Match[str]) -> str:
        low, high = float(found[1]), float(found[2])
        value = f"{dice.uniform(low, high):.3g}"
        return (f"{float(value):g}" if "e" not in value else f"{float(value):.0f}") + found[3]

    return _DRAWN.sub(figure, text)


@dataclass
class Documents:
    """The three documents of a job, and the files that lie beside them (name -> bytes)."""

    device: Data
    bench: Data
    procedure: Data
    files: dict[str, bytes] = field(default_factory=dict)

    def _place(self, path: str) -> tuple[Data, str | int]:
        """The mapping or list that holds what a path names, and the key or index there."""
        *way, last = path.split("/")
        at: Data = {"device": self.device, "bench": self.bench, "procedure": self.procedure}
        for key in way:
            at = at[int(key)] if isinstance(at, list) else at[key]
        return at, int(last) if isinstance(at, list) else last

    def get(self, path: str) -> Data:
        """What stands at `bench/supplies/left/outputs/1`. KeyError or IndexError where nothing does."""
        at, key = self._place(path)
        return at[key]

    def put(self, path: str, value: Data) -> None:
        """Put data at a path; keys that are missing on the way raise KeyError."""
        at, key = self._place(path)
        at[key] = value

    def drop(self, path: str) -> None:
        """Take away what stands at a path; KeyError where nothing does."""
        at, key = self._place(path)
        del at[key]

    def insert(self, path: str, value: Data) -> None:
        """Put an item into a list before the index that the path ends with; `-` appends."""
        at, _, index = path.rpartition("/")
        items = self.get(at)
        items.insert(len(items) if index == "-" else int(index), value)

    def written(self, dice: Random) -> Iterator[tuple[str, bytes]]:
        """Every file of the job: its name and content."""
        yield from self.files.items()
        for name, data in (("device", self.device), ("bench", self.bench), ("procedure", self.procedure)):
            yield f"{name}.yaml", yaml_text(dice, data).encode()


def yaml_text(dice: Random, data: Data) -> str:
    """A document as text: block or flow, with or without remarks and blank lines, as the dice fall."""
    loose = dice.choice((0.0, 0.15, 0.4))
    remarks = dice.choice((0.0, 0.0, 0.1))
    lines: list[str] = []
    for key, value in data.items():
        if lines and dice.random() < loose:
            lines.append("")
        lines += _pair(dice, key, value, dice.choice((2, 2, 4)), dice.choice((0.2, 0.6, 0.9)))
    remarked = [f"{line}   # {dice.choice(_REMARKS)}" if dice.random() < remarks else line for line in lines]
    return "\n".join(remarked) + "\n"


def _pair(dice: Random, key: str, value: Data, indent: int, flow: float) -> list[str]:
    """The lines of one key with its value."""
    name = _scalar(str(key))
    if not isinstance(value, dict | list):
        return [f"{name}: {_scalar(value)}".rstrip()]
    whole = f"{name}: {_flow(value)}"
    if not value or (len(whole) <= WIDTH and dice.random() < flow):
        return [whole]
    return [f"{name}:", *(" " * indent + line for line in _block(dice, value, indent, flow))]


def _block(dice: Random, value: Data, indent: int, flow: float) -> list[str]:
    """The lines of a mapping or list in block style."""
    if isinstance(value, dict):
        return [line for key, part in value.items() for line in _pair(dice, key, part, indent, flow)]
    lines: list[str] = []
    for part in value:
        whole = _flow(part)
        if not isinstance(part, dict | list) or not part or (len(whole) <= WIDTH and dice.random() < flow):
            lines.append(f"- {whole}")
            continue
        first, *rest = _block(dice, part, indent, flow)
        lines += [f"- {first}", *(f"  {line}" for line in rest)]
    return lines


def _flow(value: Data) -> str:
    if isinstance(value, dict):
        return "{" + ", ".join(f"{_scalar(str(key))}: {_flow(part)}" for key, part in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(_flow(part) for part in value) + "]"
    return _scalar(value)


def _scalar(value: Data) -> str:
    """A scalar; None is nothing at all, as where a person forgot the value."""
    if value is None:
        return ""
    text = str(value)
    if _PLAIN.fullmatch(text) and text == text.strip():
        return text
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'


def example(folder: Path) -> Documents:
    """The documents of an example: its procedure, and what that names."""
    procedure = loaded(next(iter(sorted(folder.glob("*.procedure.yaml")))).read_text("utf-8"))
    made = Documents(
        loaded((folder / procedure["device"]).read_text("utf-8")),
        loaded((folder / procedure["bench"]).read_text("utf-8")),
        {**procedure, "device": "device.yaml", "bench": "bench.yaml"},
    )
    made.files |= {path.name: path.read_bytes() for path in folder.glob("*.csv")}
    return made
