"""The multimeters of a run: told what to measure before anything is on, then read on the guard's schedule.

What one of them does or does not do never ends a run that plays: it is recorded, and what hangs on it is
inconclusive.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from railwright.documents.loader import Documents
from railwright.guard.link import GuardLink
from railwright.guard.off_plan import MeterOff
from railwright.instruments.errors import InstrumentError
from railwright.instruments.identified import IDENTIFY
from railwright.instruments.multimeter import READ, MultimeterDriver
from railwright.instruments.session import OpenSession
from railwright.running.recorder import RunRecorder
from railwright.traces import EventKind

NOISY = 4.0
"""A reading lies within so many times its r.m.s. noise."""


class Multimeters:
    """Those that the procedure connects. drivers: each by its name."""

    def __init__(
        self, documents: Documents, link: GuardLink, open_session: OpenSession, recorder: RunRecorder
    ) -> None:
        known = documents.bench.multimeters
        self.drivers = {
            name: MultimeterDriver(name, known[name], open_session)
            for name in documents.procedure.multimeters
        }
        self._link, self._recorder = link, recorder
        self._probes = documents.procedure.multimeters
        self.latest: dict[str, tuple[float, float | None]] = {}
        """When each answered last [s, the link's clock], and what it read; None: beyond its range."""
        self._beyond: set[str] = set()
        self._broken: set[str] = set()

    def prepare(self, look: Callable[[], None]) -> None:
        """Identify each, tell it what to measure, and have it read once. Raises InstrumentError.

        look: called between them, may raise to end it.
        """
        if self.drivers:
            self._recorder.progress.preparing("identify and set the multimeters")
        for name, driver in self.drivers.items():
            look()
            driver.connect()
            assert driver.identity is not None
            self._recorder.identified(name, driver.identity)
            driver.configure()
            look()
            value = driver.read()
            self.latest[name] = self._link.now(), value

    def off(self) -> tuple[MeterOff, ...]:
        """What the guard asks of those that show a voltage, once their inputs are confirmed off."""
        found = []
        for name, driver in self.drivers.items():
            document = driver.document
            if document.voltage is None or driver.identity is None or name in self._broken:
                continue
            accuracy = document.voltage
            offset = accuracy.offset + (accuracy.resolution or 0.0) + NOISY * (accuracy.noise or 0.0)
            found.append(
                MeterOff(
                    name,
                    self._probes[name].of,
                    document.address,
                    IDENTIFY,
                    driver.identity.answer,
                    READ,
                    driver.patience,
                    accuracy.of_value,
                    offset,
                    document.carried(driver.spoken),
                )
            )
        return tuple(found)

    def begin(self, start: float) -> None:
        """Read each at its interval from `start` of the link's clock on [s]."""
        for name, driver in self.drivers.items():
            every, deadline = driver.document.interval, driver.patience
            self._link.poll(name, "readings", [READ], start=start, every=every, deadline=deadline)

    def end(self) -> None:
        """Read no more."""
        for name in self.drivers:
            self._link.poll(name, "readings", [])

    def understand(self, message: dict[str, Any]) -> None:
        """What a `poll` message of the guard says of one of them."""
        name = message["name"]
        if name in self._broken:
            return
        try:
            if "error" in message:
                raise InstrumentError(name, READ, message["error"], lost=True)
            value = self.drivers[name].understood(message["answer"])
        except InstrumentError as error:
            # Whatever it answers from here on belongs to no question.
            self._broken.add(name)
            self._link.poll(name, "readings", [])
            told = f"{error.told}; it is read no more"
            self._recorder.event(EventKind.INSTRUMENT_FAILS, name, told)
            return
        sent, received = message["sent"], message["received"]
        self.latest[name] = received, value
        self._recorder.multimeter(name, self._recorder.at(received), value, received - sent)
        if value is None and name not in self._beyond:
            self._beyond.add(name)
            time = self._recorder.at(received)
            self._recorder.event(EventKind.BEYOND_RANGE, name, time=time)
