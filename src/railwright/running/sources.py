"""Sources behind the inputs of a run that current is fed into, such as cells: what stands there is read, and
the outputs are set to that, before they go on.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable

from railwright.documents.loader import Documents
from railwright.plan.moves import Move
from railwright.plan.source_behind import NotFedNow, reading_error, start_from, voltmeter_of
from railwright.plan.sources import fed_sources
from railwright.records.ended import Ended
from railwright.running.end_run import EndRun
from railwright.running.multimeters import Multimeters
from railwright.running.recorder import RunRecorder
from railwright.running.rig import Rig
from railwright.traces import EventKind, Facts

OLDEST = 3
"""So many intervals of a multimeter its last reading may be old."""


class Sources:
    """Every input of a run that current is fed into and that has a source of its own. names: theirs."""

    def __init__(
        self,
        documents: Documents,
        rig: Rig,
        multimeters: Multimeters,
        recorder: RunRecorder,
        now: Callable[[], float],
    ) -> None:
        self._procedure, self._device, self._bench = documents.procedure, documents.device, documents.bench
        self._rig, self._multimeters, self._recorder, self._now = rig, multimeters, recorder, now
        self.names = fed_sources(documents.procedure, documents.device) & rig.set_points.keys()

    def prepare(self, moves: Iterable[Move], look: Callable[[], None]) -> None:
        """Before anything is on: EndRun where one of them is not to be fed. One whose lead a contact may
        still open is looked at when it is switched on.
        """
        goals: dict[str, float] = {}
        for move in moves:
            if move.kind == "on" and move.input in self.names:
                goals.setdefault(move.input, move.voltage)
        for name, goal in goals.items():
            if self._bench.contact_in(self._procedure.hook_up[name].fixture) is None:
                look()
                self._first(name, goal)

    def start(self, name: str, goal: float) -> None:
        """An input is about to be switched on, and set to a voltage [V] with that: its outputs are set to
        what stands there. EndRun where nothing is to be fed into that. Nothing where it has no such source.
        """
        if name not in self.names:
            return
        stands, first = self._first(name, goal)
        self._rig.preset(name, first)
        facts = Facts(voltage=stands, level=first)
        self._recorder.event(EventKind.SOURCE_READ, name, facts=facts)

    def _first(self, name: str, goal: float) -> tuple[float, float]:
        """What stands at an input, and the voltage with which it goes on [V]."""
        feed, stands = self._rig.set_points[name], self._stands(name)
        error = reading_error(self._procedure, self._bench, feed, stands)
        try:
            return stands, start_from(self._device, self._bench, feed, goal, stands, error)
        except NotFedNow as refused:
            raise EndRun(Ended.STOPPED, str(refused)) from None

    def _stands(self, name: str) -> float:
        """The voltage that stands at an input [V]: by a multimeter that reads it, else by the supply."""
        meter = voltmeter_of(self._procedure, self._bench, name)
        if meter is None:
            (reading,) = self._rig.read((name,))
            return reading.voltage
        time, value = self._multimeters.latest.get(meter, (-math.inf, None))
        oldest = OLDEST * self._bench.multimeters[meter].interval
        if value is None or self._now() - time > oldest:
            raise EndRun(Ended.STOPPED, f"{name}: multimeter {meter} does not read what stands there")
        return value
