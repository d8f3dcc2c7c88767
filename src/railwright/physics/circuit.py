"""A circuit from floats alone: for each input of a device, the outputs, the lead and the loads."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Literal, NamedTuple

from railwright.physics.conductors import NODE_CAPACITANCE
from railwright.physics.loads import KINDS, inside, kind_of
from railwright.physics.output_stage import OutputStage

DECLARED = (f"the connector itself has {NODE_CAPACITANCE * 1e9:g} nF (wiring, plug)",)
"""Assumptions that every circuit makes."""


@dataclass(frozen=True)
class LeadCircuit:
    """Loop resistance of everything in series [Ω], and loop inductance [H]; what else lies in the lead.

    diode: forward drop [V] of a series diode, whose resistance belongs to `resistance`; None: there is none.
    fuse: points of its time-current curve, (current [A], time to open [s]), rising in current; empty: none.
    opened: a switch in it is open at the start.
    """

    resistance: float
    inductance: float
    diode: float | None = None
    fuse: tuple[tuple[float, float], ...] = ()
    opened: bool = False

    def __post_init__(self) -> None:
        if len(self.fuse) == 1 or any(
            not (0.0 < a[0] < b[0] and 0.0 < b[1] < a[1]) for a, b in pairwise(self.fuse)
        ):
            raise ValueError("a fuse's curve needs two points or more, with rising current and falling time")
        if not self.resistance >= 0.0 or not self.inductance > 0.0:
            raise ValueError(
                f"a lead needs a resistance of 0 Ω or more and an inductance above 0 H, "
                f"got {self.resistance} Ω and {self.inductance} H"
            )


@dataclass(frozen=True)
class Load:
    """One part of an input's load: its kind, and a value for each parameter of that kind (SI units).

    table: numbers of a curve or a file that belong to it, as its parameter model turns them out. pin: what
    enables it; '' for one that is never disabled. behind: it is fed through what lies inside the device, and
    not by the connector.
    """

    kind: str
    values: Mapping[str, float]
    table: tuple[float, ...] = ()
    pin: str = ""
    behind: bool = False

    def __post_init__(self) -> None:
        if self.kind not in (*KINDS, inside.NAME):
            raise ValueError(f"unknown load '{self.kind}', known are {', '.join(KINDS)}")
        if set(self.values) != set(kind_of(self.kind).parameters):
            wanted = ", ".join(kind_of(self.kind).parameters)
            raise ValueError(f"load '{self.kind}' needs values for {wanted}, got {', '.join(self.values)}")


class State(NamedTuple):
    """One state of a branch: the input or output that it belongs to, and what it is."""

    element: str
    quantity: str

    def __str__(self) -> str:
        return f"{self.element}: {self.quantity}"


@dataclass(frozen=True)
class Branch:
    """One input with what feeds it.

    outputs, stages: names and data of the outputs, one each. arrangement: how they are joined. sense: where
    each output's voltage loop measures; in series each senses its own share. loads: in parallel; empty: open;
    what lies inside the device comes first, and those behind it are in parallel there.
    reversed_lead: the lead's two conductors are swapped at the connector.
    """

    name: str
    outputs: tuple[str, ...]
    stages: tuple[OutputStage, ...]
    lead: LeadCircuit
    loads: tuple[Load, ...] = ()
    arrangement: Literal["single", "series", "parallel"] = "single"
    sense: Literal["terminals", "load"] = "terminals"
    node_capacitance: float = NODE_CAPACITANCE
    reversed_lead: bool = False

    def __post_init__(self) -> None:
        if len(self.outputs) != len(self.stages) or not self.outputs:
            raise ValueError(f"input '{self.name}': one output stage for each of its outputs is needed")
        if (len(self.outputs) == 1) != (self.arrangement == "single"):
            raise ValueError(
                f"input '{self.name}': {len(self.outputs)} outputs cannot be '{self.arrangement}'"
            )
        places = [number for number, load in enumerate(self.loads) if load.kind == inside.NAME]
        if places not in ([], [0]) or (not places and any(load.behind for load in self.loads)):
            raise ValueError(
                f"input '{self.name}': what lies inside comes once and first, before the loads behind it"
            )

    @property
    def states(self) -> tuple[State, ...]:
        """The states in the order in which the solver keeps them."""
        found = []
        for output in self.outputs:
            own = ("pass-element current", "voltage loop", "current loop")
            found += [State(output, quantity) for quantity in own]
        if self.arrangement == "parallel":
            found.append(State(self.name, "voltage at the joined terminals"))
        else:
            found += [State(output, "terminal voltage") for output in self.outputs]
        found += [State(self.name, "lead current"), State(self.name, "connector voltage")]
        if self.lead.fuse:
            found.append(State(self.name, "melting of the fuse"))
        for number, load in enumerate(self.loads, start=1):
            found += [
                State(self.name, f"load {number} ({load.kind}), {state}")
                for state in kind_of(load.kind).states
            ]
        return tuple(found)


@dataclass(frozen=True)
class Circuit:
    """All inputs. They share no conductor but 0 V; a trip of one can switch others off.

    linked_trips: input -> the inputs whose trip switches it off, `linked_delay` [s] later; itself, where its
    outputs follow each other. later_by: (input that goes off, input that trips) -> another time for it [s].
    """

    branches: tuple[Branch, ...]
    linked_trips: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    linked_delay: float = 1e-3
    later_by: Mapping[tuple[str, str], float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        inputs = [branch.name for branch in self.branches]
        outputs = [output for branch in self.branches for output in branch.outputs]
        for names, what in ((inputs, "input"), (outputs, "output")):
            twice = {name for name in names if names.count(name) > 1}
            if twice:
                raise ValueError(f"{what} {', '.join(sorted(twice))} stands in the circuit more than once")
        for name in [*self.linked_trips, *(n for sources in self.linked_trips.values() for n in sources)]:
            if name not in inputs:
                raise ValueError(f"a linked trip names '{name}', which is no input of the circuit")
