"""The relays of a run: identified, and their contacts where the procedure begins, before anything is on; then
moved step by step, each movement verified, and watched on the guard's schedule. Contacts that drive pins of
the device are moved and watched alike.

A contact that does not stand as it was told ends the run, as does one that cannot be asked any more.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

from railwright.documents.device import enabled_inputs
from railwright.documents.loader import Documents
from railwright.guard.link import GuardLink
from railwright.guard.off_level import STEADY
from railwright.guard.off_plan import RelaysOff
from railwright.instruments.errors import InstrumentError
from railwright.instruments.off_entries import no_current
from railwright.instruments.relays import RelaysDriver, relays_off
from railwright.instruments.session import TIMEOUT, OpenSession
from railwright.plan.contacts import Lies, contacts_of
from railwright.plan.set_points import SetPoints
from railwright.quantities import show
from railwright.records.ended import Ended
from railwright.running.end_run import EndRun
from railwright.running.idle_pins import IdlePins
from railwright.running.outcome import InputReading
from railwright.running.recorder import RunRecorder
from railwright.traces import EventKind

WATCHED = 0.5
"""How often contacts are asked how they stand [s]."""


class RunRelays:
    """Those with a contact in the lead of an input that is hooked up, or that drives a pin. lies: contact ->
    where it lies. drivers: each instrument by its name.
    """

    # Many: what a run is of.
    def __init__(
        self,
        documents: Documents,
        set_points: SetPoints,
        link: GuardLink,
        open_session: OpenSession,
        recorder: RunRecorder,
    ) -> None:
        bench = documents.bench
        self.lies = contacts_of(documents, set_points)
        self.drivers: dict[str, RelaysDriver] = {}
        for name in dict.fromkeys(each.instrument for each in self.lies.values()):
            used = {own: each.contact for own, each in self.lies.items() if each.instrument == name}
            self.drivers[name] = RelaysDriver(name, bench.relays[name], used, open_session)
        self.none = {
            name: sum(no_current(bench.output(own)) for own in feed.names)
            for name, feed in (set_points if self.drivers else {}).items()
        }
        """Input -> current that counts as none [A]."""
        self._documents, self._link, self._recorder = documents, link, recorder
        self._idle = IdlePins(documents, set_points, self.none) if self.drivers else None
        self._stands: dict[str, tuple[bool, float]] = {}
        """Contact -> whether it is closed, and since when that is known [s]; a moving one is left out."""
        self._flows_since: dict[str, float] = {}

    def identify(self, look: Callable[[], None]) -> None:
        """Ask each who it is. Raises InstrumentError. look: called between them, may raise to end it."""
        if self.drivers:
            self._recorder.progress.preparing("identify the relays")
        for name, driver in self.drivers.items():
            look()
            driver.connect()
            assert driver.identity is not None
            self._recorder.identified(name, driver.identity)

    def prepare(self, look: Callable[[], None], loaded: Callable[[str], str]) -> None:
        """Bring every contact to where the procedure begins, verified; all outputs are off. Raises
        InstrumentError, or EndRun where one that is not rated for it would be moved under load.

        look: as of `identify`. loaded: of an input, what stands or flows there; '' for nothing.
        """
        if self.drivers:
            self._recorder.progress.preparing("contacts where the procedure begins")
        for driver in self.drivers.values():
            look()
            for contact, closed in driver.states().items():
                look()
                each = self.lies[contact]
                if closed == each.starts_closed:
                    continue
                self._recorder.event(EventKind.CONTACT_FOUND, contact, _stands(closed))
                if each.needs_no_load and (what := loaded(each.input)):
                    told = f"contact '{contact}' is {_stands(closed)}, not rated to switch under load"
                    raise EndRun(Ended.STOPPED, f"{each.input}: {told}, and {what}: discharge it first")
                self.move(contact, each.starts_closed)
            for contact in driver.contacts:  # once none moves any more: one may have taken another along
                self._expect(contact, self.lies[contact].starts_closed)

    def off(self) -> tuple[RelaysOff, ...]:
        """What the guard is told of them, once they are identified."""
        device = self._documents.device
        inputs = {
            name: (each.input,) if each.input else enabled_inputs(device, each.pin)
            for name, each in self.lies.items()
        }
        return tuple(
            relays_off(name, self._documents.bench, self.lies, inputs, driver.identity)
            for name, driver in self.drivers.items()
            if driver.identity is not None
        )

    def move(self, contact: str, closed: bool, at: float | None = None) -> float:
        """Have a contact move, and expect it to have; when that was told [s, the link's clock]."""
        each = self.lies[contact]
        driver = self.drivers[each.instrument]
        self._stands.pop(contact, None)
        self._flows_since.pop(each.input, None)
        sent = driver.tell(contact, closed, at)
        self._link.sleep_until(sent + each.contact.takes(closed))
        self._expect(contact, closed)
        return sent

    def begin(self, start: float) -> None:
        """Ask each how its contacts stand, from `start` of the link's clock on [s]."""
        for name, driver in self.drivers.items():
            self._link.poll(name, "readings", [driver.query], start=start, every=WATCHED, deadline=TIMEOUT)

    def end(self) -> None:
        """Ask no more."""
        for name in self.drivers:
            self._link.poll(name, "readings", [])

    def understand(self, message: dict[str, Any]) -> None:
        """What a `poll` message of the guard says of one of them. Raises InstrumentError, or EndRun where a
        contact has moved by itself.
        """
        name = message["name"]
        driver = self.drivers[name]
        if "error" in message:
            raise InstrumentError(name, driver.query, message["error"], lost=True)
        for contact, closed in driver.understood(message["answer"]).items():
            stood, since = self._stands.get(contact, (closed, math.inf))
            if closed != stood and message["sent"] > since:
                told = f"contact '{contact}' reads {_stands(closed)}, and was told to be {_stands(stood)}"
                raise EndRun(Ended.CHANGED, f"{name}: {told}: moved by itself, at its panel, or by others")

    def see(self, reading: InputReading) -> None:
        """One reading of an input: a current through a contact that says it is open ends the run, and one
        into a load whose pins say that it is disabled.
        """
        self._see_idle(reading)
        for contact, each in self.lies.items():
            if each.input != reading.input:
                continue
            closed, since = self._stands.get(contact, (True, math.inf))
            asked = reading.time if reading.asked is None else reading.asked
            flows = abs(reading.current) > self.none[each.input]
            if closed or not flows or asked < self._recorder.at(since):
                self._flows_since.pop(each.input, None)
                continue
            began = self._flows_since.setdefault(each.input, reading.time)
            if reading.time - began >= STEADY:
                told = f"contact '{contact}' says that it is open, and {show(reading.current, 'A')} flow"
                raise EndRun(Ended.STOPPED, f"{each.input}: {told}: it is welded, or something is beside it")

    def _see_idle(self, reading: InputReading) -> None:
        inactive = {
            each.pin: self._recorder.at(since)
            for name, each in self.lies.items()
            if each.pin and name in self._stands
            for closed, since in [self._stands[name]]
            if not each.enables(closed)
        }
        found = self._idle.see(reading, inactive) if self._idle is not None else None
        if found is not None:
            pin, drawn = found
            told = f"pin '{pin}' is inactive by its contact, and at least {show(drawn, 'A')} are drawn"
            raise EndRun(
                Ended.STOPPED,
                f"{reading.input}: {told}: it is not connected, or its polarity is the other one",
            )

    def _expect(self, contact: str, closed: bool) -> None:
        """Have the instrument say that it stands so, which is known from then on."""
        answer = self.drivers[self.lies[contact].instrument].check(contact, closed)
        self._stands[contact] = closed, answer.received


def place_of(lies: Lies) -> str:
    """Which contact it is, for people."""
    driven = f"pin '{lies.pin}', " if lies.pin else ""
    return f"{driven}contact '{lies.name}' of {lies.instrument}"


def _stands(closed: bool) -> str:
    return "closed" if closed else "open"
