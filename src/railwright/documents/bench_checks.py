"""What the parts of a bench document say of each other."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import count

from railwright.documents.channel_name import channel_named
from railwright.documents.files import DocumentSource
from railwright.documents.hook_up import AUTO
from railwright.documents.references import Path, items, keys, names, text, texts, twice, unknown
from railwright.documents.sources import Problem
from railwright.quantities import quoted


def check_bench(bench: DocumentSource) -> Iterator[Problem]:
    """Names within a bench: common negatives, coupled outputs; a channel for each output, an
    address for each supply.
    """
    for lead in keys(bench.root.get("leads")):
        if lead == AUTO:
            message = (
                "expected another name for a lead than 'auto', which a procedure writes to have one chosen"
            )
            yield Problem(bench.where(("leads", lead), key=True), f"{message}; rename it")
    supplies = keys(bench.root.get("supplies"))
    for supply in supplies:
        place = ("supplies", supply)
        outputs = names(bench, *place, "outputs")
        for path, _ in texts(bench, *place, "common_negative"):
            yield from unknown(bench, path, f"outputs of '{supply}'", outputs)
        yield from twice(bench, texts(bench, *place, "common_negative"), "output", "remove one of them")
        groups: dict[str | None, list[tuple[Path, str]]] = {}
        for number in range(len(items(bench.root.get(*place, "coupled")))):
            of = text(bench.root.get(*place, "coupled", number, "of")) or "voltage"
            groups.setdefault(of, []).extend(texts(bench, *place, "coupled", number, "outputs"))
        for coupled in groups.values():
            for path, _ in coupled:
                yield from unknown(bench, path, f"outputs of '{supply}'", outputs)
            remedy = "a set point moves with one group; remove it from the other"
            yield from twice(bench, coupled, "output", remedy)
        yield from _channels(bench, supply)
    instruments = [
        (kind, name)
        for kind in ("supplies", "multimeters", "electronic_loads")
        for name in keys(bench.root.get(kind))
    ]
    named: dict[str, str] = {}
    for kind, name in instruments:
        if named.setdefault(name, kind) != kind:
            message = f"expected a name that no other instrument has, got {quoted(name)} again"
            yield Problem(bench.where((kind, name), key=True), f"{message}; rename one of them")
    addresses: list[tuple[Path, str]] = [
        ((*place, "address"), address)
        for place in instruments
        if (address := text(bench.root.get(*place, "address"))) is not None
    ]
    yield from twice(bench, addresses, "address", "give each instrument its own")


def _channels(bench: DocumentSource, supply: str) -> Iterator[Problem]:
    """Each output of a supply has a channel, by its key or its name, and no two have the same."""
    outputs = ("supplies", supply, "outputs")
    found: dict[int, tuple[str, int]] = {}
    unnamed: list[str] = []
    for output in keys(bench.root.get(*outputs)):
        written = bench.root.get(*outputs, output, "channel")
        channel = channel_named(output if written is None else text(written) or "")
        place = bench.where((*outputs, output, *(("channel",) if written is not None else ())))
        if channel is None:
            unnamed += [output] if written is None else []  # what is written says itself that it is wrong
        elif channel in found:
            first, line = found[channel]
            message = (
                f"expected another channel for {quoted(output)} than for {quoted(first)} (line {line}), "
                f"got {channel} again; an instrument knows each output by its own"
            )
            yield Problem(place, message)
        else:
            found[channel] = output, place.line
    free = (number for number in count(1) if number not in found)
    for output in unnamed:
        message = (
            f"expected a 'channel' for output {quoted(output)}, whose name is no number, got none; add the "
            f"number by which the instrument knows it, such as 'channel: {next(free)}'"
        )
        yield Problem(bench.where((*outputs, output)), message)
