"""`same_as`: an output that is like another, with the keys that differ."""

from __future__ import annotations

from railwright.documents.files import DocumentSource
from railwright.documents.nodes import Node
from railwright.documents.sources import Problem, hint
from railwright.quantities import quoted

Path = tuple[str | int, ...]

OWN = ("channel",)
"""Keys that each output has for itself: no two outputs of a supply are the same channel."""


def resolve_same_as(bench: DocumentSource) -> tuple[list[Problem], set[Path]]:
    """Replace each `same_as` of a bench by the keys of the output it names.

    Returns what is wrong, and the paths of the outputs that are incomplete for that reason.

    A key keeps the place where it is written, so that a problem of a shared key is reported once, there.
    """
    outputs = _outputs(bench.root)
    problems: list[Problem] = []
    incomplete: set[tuple[str, str]] = set()
    for name, node in outputs.items():
        _resolve(name, node, outputs, bench, (name,), problems, incomplete)
    return problems, {("supplies", supply, "outputs", output) for supply, output in incomplete}


def _outputs(root: Node) -> dict[tuple[str, str], Node]:
    found = {}
    supplies = root.get("supplies")
    for supply in supplies.entries if supplies else ():
        outputs = root.get("supplies", supply, "outputs")
        for output in outputs.entries if outputs else ():
            node = root.get("supplies", supply, "outputs", output)
            if node is not None and node.kind == "mapping":
                found[supply, output] = node
    return found


def _resolve(
    name: tuple[str, str],
    node: Node,
    outputs: dict[tuple[str, str], Node],
    bench: DocumentSource,
    chain: tuple[tuple[str, str], ...],
    problems: list[Problem],
    incomplete: set[tuple[str, str]],
) -> None:
    entry = node.entries.get("same_as")
    if entry is None:
        return
    supply, output = name
    where = bench.where(("supplies", supply, "outputs", output, "same_as"))
    del node.entries["same_as"]
    text = entry.value.text or ""
    first, dot, second = text.partition(".")
    target = (first, second) if dot else (supply, text)
    known = [other for of, other in outputs if of == supply and other != output]
    known += [".".join(other) for other in outputs if other[0] != supply]
    if target not in outputs or target in chain:
        incomplete.add(name)
    if target not in outputs:
        got = quoted(text) if entry.value.kind == "scalar" else "something else"
        choice = hint(text, known) or (f"; the others are called {', '.join(known)}" if known else "")
        problems.append(
            Problem(where, f"expected the name of another output in 'same_as', got {got}{choice}")
        )
    elif target in chain:
        circle = " -> ".join(".".join(part) for part in (*chain, target))
        problems.append(Problem(where, f"expected 'same_as' to end at an output with figures, got {circle}"))
    else:
        _resolve(target, outputs[target], outputs, bench, (*chain, target), problems, incomplete)
        if target in incomplete:
            incomplete.add(name)
        for key, inherited in outputs[target].entries.items():
            if key not in OWN:
                node.entries.setdefault(key, inherited)
