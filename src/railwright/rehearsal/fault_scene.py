"""What the rehearsal of faults works with: the scene that all trials share, and one trial."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from railwright.assumptions import Assumption
from railwright.documents.bench import Output
from railwright.documents.loader import Documents
from railwright.plan.set_points import Feed, OutputSetPoints, SetPoints
from railwright.plan.timeline import Timeline

if TYPE_CHECKING:
    from railwright.physics.circuit import Circuit
    from railwright.physics.simulation import Simulation

EnergyIn = Literal["the short", "the device", "the sense lead"]


@dataclass(frozen=True)
class Scene:
    """What the trials of one study have in common.

    timeline: the power-up alone; steady [s]: when its inputs have settled, which is when most faults happen.
    levels: input -> voltage set then [V].
    """

    documents: Documents
    set_points: SetPoints
    circuit: Circuit
    timeline: Timeline
    steady: float
    levels: Mapping[str, float]

    def outputs(self, feed: Feed) -> list[tuple[OutputSetPoints, Output]]:
        """Each output of a feed: its set points, and the output itself."""
        return [(points, self.documents.bench.output(points.output)) for points in feed.outputs]

    def switched_on(self, name: str) -> float:
        """When an input is switched on [s]."""
        return next(each.time for each in self.timeline.actions if each.input == name and each.kind == "on")


@dataclass(frozen=True)
class Trial:
    """One fault at one place.

    fault: its key; title: its name for people. inputs: those that are judged. act: brings it about, at
    `scene.steady`, or at_power_up: before anything is switched on. set_points, timeline: what is dialled in
    instead. energy_in: what the energy of the result goes into. part [Ω]: the resistance it is counted in.
    crossed: the two inputs whose sense leads are exchanged. reverses: the lead is reversed, and nothing in it
    blocks. own_source: what ends a current out of the device's own source, said before the remedy. note: what
    else there is to say.
    """

    fault: str
    title: str
    inputs: tuple[str, ...]
    remedy: str
    act: Callable[[Simulation], None] | None = None
    at_power_up: bool = False
    set_points: SetPoints | None = None
    timeline: Timeline | None = None
    energy_in: EnergyIn = "the device"
    part: float = 0.0
    crossed: tuple[str, str] | None = None
    reverses: bool = False
    own_source: str = "a fuse in the lead, or at the device's own source, stops that current; "
    assumed: tuple[Assumption, ...] = ()
    note: str = ""
