"""What the parts of a bench document say of each other."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from railwright.documents.files import Source
from railwright.documents.hook_up import AUTO
from railwright.documents.references import items, keys, names, text, texts, twice, unknown
from railwright.documents.sources import Problem

DIALECTS = Path(__file__).parents[1] / "instruments" / "dialects"
"""Where the dialects are: one data file each. Only their names matter here."""


def dialects() -> list[str]:
    """Names of the dialects that there are."""
    return sorted(path.stem for path in DIALECTS.glob("*.yaml"))


def check_bench(bench: Source) -> Iterator[Problem]:
    """Names within a bench: dialects, common negatives, coupled outputs; an address for each supply."""
    for lead in keys(bench.root.get("leads")):
        if lead == AUTO:
            message = (
                "expected another name for a lead than 'auto', which a procedure writes to have one chosen"
            )
            yield Problem(bench.where(("leads", lead), key=True), f"{message}; rename it")
    supplies = keys(bench.root.get("supplies"))
    for supply in supplies:
        place = ("supplies", supply)
        yield from unknown(bench, (*place, "dialect"), "dialects", dialects())
        outputs = names(bench, *place, "outputs")
        for path, _ in texts(bench, *place, "common_negative"):
            yield from unknown(bench, path, f"outputs of '{supply}'", outputs)
        yield from twice(bench, texts(bench, *place, "common_negative"), "output", "remove one of them")
        coupled = [
            found
            for number in range(len(items(bench.root.get(*place, "coupled"))))
            for found in texts(bench, *place, "coupled", number, "outputs")
        ]
        for path, _ in coupled:
            yield from unknown(bench, path, f"outputs of '{supply}'", outputs)
        yield from twice(bench, coupled, "output", "an output moves with one group; remove it from the other")
    addresses = [
        (("supplies", supply, "address"), address)
        for supply in supplies
        if (address := text(bench.root.get("supplies", supply, "address"))) is not None
    ]
    yield from twice(bench, addresses, "address", "give each supply its own")
