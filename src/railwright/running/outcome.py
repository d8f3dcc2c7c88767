"""What a run came to, what it tells while it goes on, and why it may not begin."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from railwright.records.ended import AS_REQUIRED, Ended, SwitchedOff
from railwright.traces import Event, Mode, Record, Span


class RunRefused(Exception):
    """The run does not begin: nothing was opened, nothing written. The text says why, one line for each
    reason.
    """


class FolderRefused(RunRefused):
    """Its folder cannot take the record of the run, or another run has it."""


@dataclass(frozen=True, slots=True)
class InputReading:
    """What feeds one input, as measured: time [s] of the record, voltage [V], current [A], mode, trip.

    `Rig.read` gives the time of the monotonic clock, everything else that of the record. Of a series pair the
    voltages add and the current is the mean, of a parallel pair the other way round. `at` says where the
    voltage was sensed: the record calls it `voltage` at the load, `terminal_voltage` at the terminals.
    outputs: (output, voltage, current) of each. age: how long before mode and trip were asked for the value
    may lie [s]: latency, aperture and update, as far as they are known. off: those of its outputs whose own
    state says that they are off. asked: when it was asked for [s], in the same time as `time`; None: then.
    exchange: when the first question for it left, and when the last answer had come [s], in the same time.
    """

    time: float
    input: str
    at: str
    voltage: float
    current: float
    mode: Mode | None
    trip: str
    outputs: tuple[tuple[str, float, float], ...] = ()
    age: float = 0.0
    off: tuple[str, ...] = ()
    asked: float | None = None
    exchange: tuple[float, float] | None = None

    def since(self, zero: float) -> tuple[float | None, tuple[float, float] | None]:
        """`asked` and `exchange` counted from an instant [s]."""
        asked = None if self.asked is None else self.asked - zero
        exchange = None if self.exchange is None else (self.exchange[0] - zero, self.exchange[1] - zero)
        return asked, exchange


@dataclass(frozen=True, slots=True, eq=False)
class RunOutcome:
    """A run that is over. remedy: what to do about its cause, where that is known.

    off_confirmed: every output that the run had to do with was read to be off, or stays on as the procedure
    says. not_confirmed: else, one line for each input or output: which, since when, its last voltage, "use
    the mains switch". energised: whether the run switched on, or may have switched on, any output. fault: the
    trace of a fault in Railwright itself, which ended it. settings_periods: supply -> how long until each of
    its settings was asked for again [s].
    """

    folder: Path
    run_id: str
    ended: Ended
    cause: str
    energised: bool
    record: Record
    switched_off: Mapping[str, SwitchedOff]
    cautions: tuple[str, ...]
    deviations: tuple[str, ...]
    worst_lateness: float
    missed_readings: int
    remedy: str = ""
    off_confirmed: bool = True
    not_confirmed: tuple[str, ...] = ()
    fault: str = ""
    settings_periods: Mapping[str, float] = field(default_factory=dict)

    @property
    def completed(self) -> bool:
        return self.ended is Ended.COMPLETED

    @property
    def as_required(self) -> bool:
        """Whether it ended as the procedure asks: played to its end, or up to a trip that it requires."""
        return self.ended in AS_REQUIRED


class Progress:
    """Told how a run goes on; does nothing by itself. Called in the run's own loop, so it must be quick."""

    def preparing(self, text: str) -> None:
        """A stage of the preparation begins; nothing is energised yet."""

    def begins(self, spans: Sequence[Span], duration: float) -> None:
        """The procedure begins, with its nominal steps and duration [s]."""

    def step_started(self, span: Span, position: int) -> None:
        """The step at `position` (from 0) begins; `span` is nominal."""

    def reading(self, reading: InputReading) -> None:
        """A reading was taken."""

    def event(self, event: Event) -> None:
        """Something happened."""

    def switching_off(self, text: str) -> None:
        """The outputs go off."""
