"""What is joined to what: outputs, leads, inputs, common returns and earth as a graph of joined terminals."""

from __future__ import annotations

import itertools
from collections import deque
from collections.abc import Iterable, Mapping
from typing import NamedTuple

from railwright.documents.bench import Bench
from railwright.documents.device import Device
from railwright.documents.procedure import Procedure
from railwright.grouping import grouped

EARTH = "earth"
DEVICE_ZERO = "the device's common 0 V"
RETURNS = {"common": (DEVICE_ZERO, "common return"), "earth": (EARTH, "return tied to earth")}
"""How the device returns an input -> what its 0 V is joined to, and by what."""


class Link(NamedTuple):
    """Two terminals joined by a conductor, and by what."""

    one: str
    other: str
    by: str


def plus(output: str) -> str:
    """Positive terminal of an output."""
    return f"{output} +"


def minus(output: str) -> str:
    """Negative terminal of an output."""
    return f"{output} −"


def zero_volts(name: str) -> str:
    """0 V of an input."""
    return f"input {name} 0 V"


class Joined(NamedTuple):
    """Sets of terminals that are at one potential: terminal -> the set that it belongs to, by one of them."""

    sets: Mapping[str, str]

    def together(self, one: str, other: str) -> bool:
        return self.sets.get(one, one) == self.sets.get(other, other)


def _reached(links: Iterable[Link], starts: Iterable[str]) -> dict[str, tuple[str, list[Link]]]:
    """Every terminal that is joined to one of these -> the first of them that is, and the shortest chain of
    links from there.
    """
    both_ways = ((each, link) for link in links for each in ((link.one, link.other), (link.other, link.one)))
    neighbours = grouped((terminal, (other, link)) for (terminal, other), link in both_ways)
    found: dict[str, tuple[str, list[Link]]] = {}
    for start in starts:
        waiting = deque([start] if start not in found else [])
        found.setdefault(start, (start, []))
        while waiting:
            terminal = waiting.popleft()
            for other, link in neighbours.get(terminal, []):
                if other not in found:
                    found[other] = start, [*found[terminal][1], link]
                    waiting.append(other)
    return found


def joined(links: Iterable[Link]) -> Joined:
    """Terminals at one potential, given what joins them."""
    given = list(links)
    ends = [end for link in given for end in (link.one, link.other)]
    return Joined({terminal: start for terminal, (start, _) in _reached(given, ends).items()})


def path(links: Iterable[Link], start: str, goal: str) -> list[Link]:
    """Shortest chain of links from one terminal to another; empty where there is none."""
    _, chain = _reached(links, [start]).get(goal, (start, []))
    return chain


def shorted(links: list[Link], outputs: Iterable[str]) -> dict[str, list[Link]]:
    """Outputs whose + and − are at one potential, each with the chain of links that shorts it."""
    sets = joined(links)
    return {
        output: path(links, plus(output), minus(output))
        for output in outputs
        if sets.together(plus(output), minus(output))
    }


def spoken(chain: list[Link], start: str) -> str:
    """A chain of links as a sentence: 'left.1 + → main + (lead silicone pair) → …'."""
    words, at = [start], start
    for link in chain:
        at = link.other if link.one == at else link.one
        words.append(f"{at} ({link.by})")
    return " → ".join(words)


def links_of(procedure: Procedure, device: Device, bench: Bench) -> list[Link]:
    """Every conductor that joins terminals: leads, links of groups, returns, earth ties, joined negatives."""
    links: list[Link] = []
    for name, hook_up in procedure.hook_up.items():
        zero = zero_volts(name)
        positive, negative = f"input {name} +", zero
        if device.inputs[name].rail == "negative":
            positive, negative = zero, f"input {name} −"
        lead = f"lead '{hook_up.lead}'"
        outputs = hook_up.outputs
        if hook_up.arrangement == "series":
            links += [
                Link(plus(outputs[0]), positive, lead),
                *(Link(minus(a), plus(b), "series link") for a, b in itertools.pairwise(outputs)),
                Link(minus(outputs[-1]), negative, lead),
            ]
        else:
            for output in outputs:
                links += [Link(plus(output), positive, lead), Link(minus(output), negative, lead)]
        if (returns := device.inputs[name].returns) != "isolated":
            links.append(Link(zero, *RETURNS[returns]))
    for supply_name, supply in bench.supplies.items():
        inside = f"common negative inside {supply_name}"
        links += [
            Link(minus(f"{supply_name}.{each}"), inside, "joined inside") for each in supply.common_negative
        ]
        links += [
            Link(minus(f"{supply_name}.{each}"), EARTH, "negative tied to earth")
            for each, output in supply.outputs.items()
            if output.negative == "earth"
        ]
    return links
