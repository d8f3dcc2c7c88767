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
            yield from twice(
                bench, coupled, "output", "a set point moves with one group; remove it from the other"
            )
        yield from _channels(bench, supply)
    instruments = [
        (kind, name)
        for kind in ("supplies", "multimeters", "electronic_loads", "relays")
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
    yield from _contacts(bench)


def _contacts(bench: DocumentSource) -> Iterator[Problem]:
    """Each contact has a name and a channel of its own, and is the switch of one fixture."""
    fixtures = None if bench.ambiguous else keys(bench.root.get("fixtures"))
    named: list[tuple[Path, str]] = []
    moved: list[tuple[Path, str]] = []
    for instrument in keys(bench.root.get("relays")):
        channels: list[tuple[Path, str]] = []
        for name in keys(bench.root.get("relays", instrument, "contacts")):
            place: Path = ("relays", instrument, "contacts", name)
            named.append((place, name))
            if (channel := text(bench.root.get(*place, "channel"))) is not None:
                channels.append(((*place, "channel"), channel))
            where: Path = (*place, "fixture")
            fixture = text(bench.root.get(*where))
            yield from unknown(bench, where, "bench's fixtures", fixtures)
            if fixture is None or fixtures is None or fixture not in fixtures:
                continue
            moved.append((where, fixture))
            if bench.root.get("fixtures", fixture, "switch") is None:
                yield Problem(
                    bench.where(where),
                    f"expected a fixture with a 'switch', got {quoted(fixture)}, which has none; add one",
                )
        yield from twice(bench, channels, "channel of an instrument", "give each contact its own")
    yield from twice(bench, named, "name of a contact", "rename one of them")
    yield from twice(bench, moved, "fixture of a contact", "a switch is one contact; use another fixture")


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
