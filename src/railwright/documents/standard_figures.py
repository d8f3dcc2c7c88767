"""The figures of standards: the package's own, and a user's corrected ones over them."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache

from railwright.documents.files import DocumentSource, content, decoded, named_beside
from railwright.documents.nodes import Node, Unreadable, compose
from railwright.documents.sources import Location, Problem, hint
from railwright.quantities import parse_value, quoted
from railwright.waveforms.standards import Figure, StandardFigures

UNITS = ("V", "s", "1", "ohm", "Hz")
"""SI units that a figure may have; a number of times has none."""


@cache
def package_figures() -> Mapping[str, StandardFigures]:
    """The figures that come with the package, by standard."""
    from importlib.resources import files  # few procedures play a standard's test

    text = (files("railwright.waveforms.standards") / "figures.yaml").read_text("utf-8")
    root, _ = compose(text, "figures.yaml")
    assert root is not None
    found = {}
    for standard, entry in root.entries.items():
        node = entry.value
        figures = {name: _figure(each.value) for name, each in node.entries["figures"].value.entries.items()}
        found[standard] = StandardFigures(standard, _text(node, "edition"), _text(node, "title"), figures)
    return found


def _text(node: Node, key: str) -> str:
    child = node.child(key)
    return (child.text or "") if child is not None else ""


def _values(node: Node | None) -> tuple[str, ...]:
    if node is None:
        return ()
    return tuple(each.text or "" for each in node.items) if node.kind == "list" else (node.text or "",)


def _figure(node: Node) -> Figure:
    return Figure(_values(node.child("value")), _text(node, "clause"), _text(node, "from_memory") != "no")


def own_figures(
    procedure: DocumentSource, held: Mapping[str, bytes]
) -> tuple[dict[str, StandardFigures], list[Problem]]:
    """The figures of the file that a procedure names under 'standards', laid over the package's.

    Its bytes are kept in `procedure.beside`. Every key must be one that the package knows, and every value
    of the same kind as the one that it replaces. held: content of files that are not read again.
    """
    node = procedure.root.get("standards")
    if node is None or not node.text or not node.text.strip():
        return {}, []
    place = procedure.where(("standards",))
    try:
        file = named_beside(procedure, node.text, place)
        raw = held[file] if file in held else content(file, "file of standards' figures", place)
        root, problems = compose(decoded(raw, file), file)
    except Unreadable as error:
        return {}, [error.problem]
    procedure.beside[node.text] = raw
    if root is None or root.kind != "mapping":
        return {}, [
            Problem(Location(file, 1, 1), "expected standards with their figures, got none; add them")
        ]
    found = {}
    for standard, entry in root.entries.items():
        known = package_figures().get(standard)
        if known is None:
            problems.append(
                _not_known(file, entry.line, entry.column, "standards", standard, list(package_figures()))
            )
            continue
        given = entry.value.get("figures")
        changed, wrong = _changed(file, known, given if given is not None else Node("mapping", 1, 1))
        problems += wrong
        edition = _text(entry.value, "edition") or known.edition
        found[standard] = StandardFigures(standard, edition, known.title, {**known.figures, **changed})
    return found, problems


def _not_known(file: str, line: int, column: int, what: str, name: str, known: list[str]) -> Problem:
    near = hint(name, known) or f" ({', '.join(known[:8])}{', ...' if len(known) > 8 else ''})"
    return Problem(Location(file, line, column), f"expected one of the {what}, got {quoted(name)}{near}")


def _changed(file: str, known: StandardFigures, given: Node) -> tuple[dict[str, Figure], list[Problem]]:
    changed, problems = {}, []
    for name, entry in given.entries.items():
        if name not in known.figures:
            what = f"figures of {known.standard}"
            problems.append(_not_known(file, entry.line, entry.column, what, name, list(known.figures)))
            continue
        figure, before = _figure(entry.value), known.figures[name]
        value = entry.value.child("value")
        if value is None:
            message = (
                f"expected a 'value' and where it stands ('clause'), got none for {quoted(name)}; add them"
            )
            problems.append(Problem(Location(file, entry.line, entry.column), message))
            continue
        wrong = _wrong(figure.values, before.values)
        if wrong:
            problems.append(Problem(Location(file, value.line, value.column), wrong))
            continue
        changed[name] = Figure(figure.values, figure.clause or before.clause, figure.from_memory)
    return changed, problems


def _wrong(values: tuple[str, ...], before: tuple[str, ...]) -> str:
    """What is wrong with new values for old ones; empty: nothing."""
    if (
        len(before) > 1
        and len(set(map(_unit, before))) > 1
        and "x" not in before
        and len(values) != len(before)
    ):
        return f"expected {len(before)} values such as {', '.join(before)}, got {len(values)}"
    for position, text in enumerate(values):
        model = before[min(position, len(before) - 1)] if "x" not in before else before[0]
        if text == "x" and "x" in before:
            continue
        if (unit := _unit(model)) is None:
            if not text.isdigit():
                return f"expected a whole number, got {quoted(text)}"
            continue
        try:
            parse_value(text, unit)
        except ValueError as error:
            return str(error)
    return ""


def _unit(text: str) -> str | None:
    """SI unit of a figure; None: a number of times."""
    for unit in UNITS:
        try:
            parse_value(text, unit)
        except ValueError:
            continue
        return unit if not text.isdigit() else None
    return None
