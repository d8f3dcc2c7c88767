"""What is joined to what: outputs, leads, inputs, common returns and earth as a graph of joined terminals."""

from __future__ import annotations

import itertools
from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass, field

from railwright.documents.bench import Bench
from railwright.documents.device import Device
from railwright.documents.procedure import Procedure

EARTH = "earth"
DEVICE_ZERO = "the device's common 0 V"


@dataclass(frozen=True, slots=True)
class Link:
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


@dataclass
class Joined:
    """Sets of terminals that are at one potential (union-find with path halving, union by size)."""

    parent: dict[str, str] = field(default_factory=dict)
    size: dict[str, int] = field(default_factory=dict)

    def root(self, terminal: str) -> str:
        parent = self.parent
        parent.setdefault(terminal, terminal)
        self.size.setdefault(terminal, 1)
        while parent[terminal] != terminal:
            parent[terminal] = parent[parent[terminal]]
            terminal = parent[terminal]
        return terminal

    def join(self, one: str, other: str) -> None:
        first, second = self.root(one), self.root(other)
        if first == second:
            return
        if self.size[first] < self.size[second]:
            first, second = second, first
        self.parent[second] = first
        self.size[first] += self.size[second]

    def together(self, one: str, other: str) -> bool:
        return self.root(one) == self.root(other)


def joined(links: Iterable[Link]) -> Joined:
    """Terminals at one potential, given what joins them."""
    sets = Joined()
    for link in links:
        sets.join(link.one, link.other)
    return sets


def path(links: Iterable[Link], start: str, goal: str) -> list[Link]:
    """Shortest chain of links from one terminal to another; empty where there is none."""
    neighbours: dict[str, list[tuple[str, Link]]] = {}
    for link in links:
        neighbours.setdefault(link.one, []).append((link.other, link))
        neighbours.setdefault(link.other, []).append((link.one, link))
    came: dict[str, tuple[str, Link] | None] = {start: None}
    waiting = deque([start])
    while waiting:
        terminal = waiting.popleft()
        if terminal == goal:
            break
        for other, link in neighbours.get(terminal, []):
            if other not in came:
                came[other] = (terminal, link)
                waiting.append(other)
    chain: list[Link] = []
    step = came.get(goal)
    while step is not None:
        chain.append(step[1])
        step = came[step[0]]
    return chain[::-1]


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
        zero = f"input {name} 0 V"
        positive, negative = f"input {name} +", zero
        if device.inputs[name].rail == "negative":
            positive, negative = zero, f"input {name} −"
        lead = f"lead '{hook_up.lead}'"
        outputs = hook_up.outputs
        if hook_up.arrangement == "series":
            links.append(Link(plus(outputs[0]), positive, lead))
            links += [Link(minus(a), plus(b), "series link") for a, b in itertools.pairwise(outputs)]
            links.append(Link(minus(outputs[-1]), negative, lead))
        else:
            for output in outputs:
                links += [Link(plus(output), positive, lead), Link(minus(output), negative, lead)]
        returns = device.inputs[name].returns
        if returns == "common":
            links.append(Link(zero, DEVICE_ZERO, "common return"))
        elif returns == "earth":
            links.append(Link(zero, EARTH, "return tied to earth"))
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
