"""The steps of a procedure: names, the inputs they are about, and whether those are powered by then."""

from __future__ import annotations

from collections.abc import Iterator

from railwright.documents.files import DocumentSource
from railwright.documents.nodes import Node
from railwright.documents.references import Path, items, keys, text, texts, twice, unknown
from railwright.documents.sources import Problem, meant


def check_steps(procedure: DocumentSource, inputs: list[str] | None) -> Iterator[Problem]:
    """inputs: the device's; None where they are not known."""
    fed = keys(procedure.root.get("hook_up"))
    on: set[str] = set()
    for number, step in enumerate(items(procedure.root.get("steps"))):
        place: Path = ("steps", number)
        for path, name in _subjects(procedure, place):
            key = path[3:4] == ("inputs",)
            problems = list(unknown(procedure, path, "device's inputs", inputs, key=key))
            yield from problems
            if problems or (inputs is None and name not in fed):
                continue
            if path[2] == "power_up":
                if name in on:
                    message = f"expected an input that is off, got '{name}', which an earlier step powered up"
                    yield Problem(procedure.where(path), message)
            elif name not in on:
                message = f"expected an input that an earlier step powers up, got '{name}'; power it up first"
                yield Problem(procedure.where(path, key=key), message)
        yield from _hold(procedure, place, on, known=inputs is not None or not fed)
        for kind in ("power_up", "power_down"):
            orders = texts(procedure, *place, kind, "order")
            yield from twice(procedure, orders, "input of an order", "remove one of them")
        ordered = [name for _, name in texts(procedure, *place, "power_up", "order")]
        for other in keys(procedure.root.get(*place, "power_up", "voltages")):
            path = (*place, "power_up", "voltages", other)
            yield from unknown(procedure, path, "inputs in 'order'", ordered, key=True)
        on = _after(step, on, inputs)
    names: list[tuple[Path, str]] = [
        (("steps", number, "name"), title)
        for number, step in enumerate(items(procedure.root.get("steps")))
        if (title := text(step.child("name"))) is not None
    ]
    yield from twice(procedure, names, "name of a step", "rename one of them")


def inputs_in_steps(procedure: DocumentSource, inputs: list[str] | None) -> dict[str, set[str]]:
    """Name of each named step -> the inputs that are powered during some of it."""
    found: dict[str, set[str]] = {}
    on: set[str] = set()
    for step in items(procedure.root.get("steps")):
        after = _after(step, on, inputs)
        if (name := text(step.child("name"))) is not None:
            found.setdefault(name, on | after)
        on = after
    return found


def _subjects(procedure: DocumentSource, place: Path) -> list[tuple[Path, str]]:
    """The inputs that a step is about, with the place where each is named."""
    orders = (texts(procedure, *place, kind, "order") for kind in ("power_up", "power_down"))
    switched = [each for order in orders for each in order]
    single = (
        ("sweep", "input"),
        ("shape", "input"),
        ("shape", "repeat_until", "input"),
        ("hold", "until", "input"),
    )
    paths = [(*place, *each) for each in single]
    named = [(path, word) for path in paths if (word := text(procedure.root.get(*path))) is not None]
    several = keys(procedure.root.get(*place, "shape", "inputs"))
    return [*switched, *named, *(((*place, "shape", "inputs", name), name) for name in several)]


def _hold(procedure: DocumentSource, place: Path, on: set[str], *, known: bool) -> Iterator[Problem]:
    """A hold that something read ends is about one input that is on. known: whether those that are on are."""
    until: Path = (*place, "hold", "until")
    node = procedure.root.get(*until)
    if node is None or node.kind != "mapping" or {"input", "time"} & set(node.entries) or not known:
        return
    if len(on) != 1:
        got = f"{len(on)} that are on ({', '.join(sorted(on))})" if on else "none that is on"
        told = "add 'input'" if on else "power one up first"
        yield Problem(
            procedure.where(until), f"expected one input in the condition of a hold, got {got}; {told}"
        )


def _after(step: Node, on: set[str], inputs: list[str] | None) -> set[str]:
    """The inputs that are on after a step; a misspelt one counts as the one that is meant."""

    def named(kind: str) -> set[str]:
        words = {node.text for node in items(step.get(kind, "order")) if node.text is not None}
        return {word if inputs is None else meant(word, inputs) for word in words}

    gone = named("power_down")
    if text(step.get("shape", "at_end")) == "off":
        own = text(step.get("shape", "input"))
        gone |= {own} if own is not None else set(keys(step.get("shape", "inputs")))
    return (on | named("power_up")) - gone
