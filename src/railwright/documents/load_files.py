"""Files that the loads of a device document name: found beside the document, read, and kept with it."""

from __future__ import annotations

import os
from collections.abc import Iterator

from railwright.documents.columns import Wanted, read_columns
from railwright.documents.files import Source
from railwright.documents.nodes import Node
from railwright.documents.references import items
from railwright.documents.sources import Problem
from railwright.physics.loads import LOAD_MODELS
from railwright.physics.loads.law import Columns
from railwright.quantities import quoted

Path = tuple[str | int, ...]
Held = dict[tuple[str, str], Columns]
"""What files hold, by what LoadParameters asks for: name of the file, and the columns that are wanted."""


def read_load_files(device: Source) -> tuple[Held, list[Problem]]:
    """What the files hold that a device document names, and what is wrong with them.

    The bytes of each file are kept in `device.beside`, so that a copy of the document can be made complete.
    """
    held: Held = {}
    problems: list[Problem] = []
    seen: set[tuple[str, str]] = set()
    for path, node, wanted in _named(device):
        name = node.text or ""
        if not name.strip() or (name, str(wanted)) in seen:
            continue
        seen.add((name, str(wanted)))
        place = device.where(path)
        if os.path.isabs(name):
            message = f"expected a path relative to this document, got {quoted(name)}; put the file beside it"
            problems.append(Problem(place, message))
            continue
        file = os.path.join(os.path.dirname(device.file), name)
        raw, columns, wrong = read_columns(file, wanted, place)
        problems += wrong
        if columns is not None:
            held[name, str(wanted)] = columns
            device.beside[name] = raw
    return held, problems


def _named(device: Source) -> Iterator[tuple[Path, Node, Wanted]]:
    """Each field of a load that names a file, with the columns that are wanted of it."""
    inputs = device.root.get("inputs")
    for name, entry in (inputs.entries if inputs is not None else {}).items():
        for number, part in enumerate(items(entry.value.get("load"))):
            for kind, parameters in part.entries.items():
                model = LOAD_MODELS.get(kind)
                for field, wanted in (model.in_file if model else {}).items():
                    node = parameters.value.get(field)
                    if node is not None and node.kind == "scalar":
                        yield ("inputs", name, "load", number, kind, field), node, wanted
