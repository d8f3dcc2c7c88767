"""One circuit of the verification: what it is, how it is played, and who judges it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from importlib import import_module
from pathlib import Path
from typing import Literal

from tests.external.verification.result import Array, Result

from railwright.physics.circuit import Circuit
from railwright.physics.simulation import Simulation

CIRCUITS = Path(__file__).parent / "circuits"

Columns = Mapping[str, Array]
"""Columns of ngspice's table by the names that it gives them, such as `v(con)`."""


@dataclass(frozen=True)
class Mark:
    """Something that ngspice's table shows by a number that passes through zero.

    up, down: the event when it rises or falls through zero; None: none. during: a number that is above zero
    while such a passage counts; None: always.
    """

    up: str | None
    down: str | None
    number: Callable[[Columns], Array]
    during: Callable[[Columns], Array] | None = None


@dataclass(frozen=True)
class Spice:
    """Which columns of ngspice's table are which trace, and its events."""

    voltages: Mapping[str, str]
    currents: Mapping[str, str]
    marks: Sequence[Mark] = ()


@dataclass(frozen=True)
class Figure:
    """One number in closed form. kind: what it is; scale: full scale of a voltage [V] or current [A]."""

    kind: Literal["voltage", "current", "time", "energy"]
    ours: float
    exact: float
    scale: float = 1.0


@dataclass(frozen=True)
class Case:
    """One circuit. numbers: what its netlist's .param lines must hold.

    what: what it is, and which law it exercises (two sentences). judge: (times) -> what scipy makes of it.
    closed: closed forms of single figures or of whole traces; closed_form: in words.
    derived: parameters of loads that the netlist holds only as what follows from them.
    """

    title: str
    what: str
    circuit: Circuit
    until: float
    play: Callable[[Simulation], None]
    numbers: Mapping[str, float]
    judge: Callable[[Array], Result]
    spice: Spice
    closed: Callable[[Result], Sequence[Figure]] | None = None
    closed_form: str = ""
    derived: Sequence[str] = ()
    name: str = field(default="", compare=False)

    @property
    def netlist(self) -> Path:
        """The netlist beside it."""
        return CIRCUITS / f"{self.name}.cir"

    @property
    def volts(self) -> float:
        """Full scale of voltages: the highest rated voltage of one output [V]."""
        return max(stage.voltage_max for branch in self.circuit.branches for stage in branch.stages)

    @property
    def amperes(self) -> float:
        """Full scale of currents: the highest rated current of one output [A]."""
        return max(stage.current_max for branch in self.circuit.branches for stage in branch.stages)


def all_names() -> list[str]:
    """Names of all circuits, in the order of their titles' files."""
    return sorted(path.stem for path in CIRCUITS.glob("*.py"))


def load_case(name: str) -> Case:
    """The circuit of one module of `circuits`."""
    case = import_module(f"tests.external.verification.circuits.{name}").CASE
    object.__setattr__(case, "name", name)
    return case  # type: ignore[no-any-return]


def modes(output: str, place: str, on: str | None = None) -> Mark:
    """CV and CC of an output whose subcircuit is `place`; on: node that is 1 while it is on."""
    return Mark(
        f"{output}: enters CC",
        f"{output}: enters CV",
        lambda c: c[f"v({place}.cv)"] - c[f"v({place}.cc)"],
        (lambda c: c[f"v({on})"] - 0.5) if on else None,
    )


def rises(column: str, event: str, level: float = 0.5) -> Mark:
    """An event when a column rises through a level."""
    return Mark(event, None, lambda c: c[column] - level)


def switches(column: str, up: str, down: str, level: float = 0.5) -> Mark:
    """Two events: a column rises, and falls, through a level."""
    return Mark(up, down, lambda c: c[column] - level)


def one(input_name: str = "main", out: str = "out", con: str = "con", lead: str = "vlead") -> Spice:
    """The usual columns of one input with one output; marks are added with `replace`."""
    return Spice(
        {f"{input_name}: terminals": f"v({out})", f"{input_name}: connector": f"v({con})"},
        {f"{input_name}: lead": f"i({lead})"},
    )
