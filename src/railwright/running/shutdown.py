"""The end of a run: the guard switches everything off; what it reads on the way goes into the record."""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from typing import Any

from railwright.guard.input_end import MAINS
from railwright.guard.link import GuardLink
from railwright.instruments.errors import InstrumentError
from railwright.instruments.session import Answer
from railwright.quantities import show
from railwright.records.ended import SwitchedOff
from railwright.records.ends import open_question, switched_off_of
from railwright.running.interruption import StopRequest
from railwright.running.polling import Polling
from railwright.running.recorder import RunRecorder
from railwright.running.rig import Rig
from railwright.running.watch import Watch
from railwright.traces import EventKind, Facts

MOST_TOLD = 5
"""Entries of an error queue that are told; the guard's own log has all of them."""

ENDINGS = {
    "watchdog": (
        EventKind.WATCHDOG_OFF,
        EventKind.WATCHDOG_STAYS_ON,
        "The watchdog of {} stays on",
    ),
    "master": (
        EventKind.MASTER_OFF,
        EventKind.MASTER_STAYS_ON,
        "The master switch of {} was not read to be off",
    ),
}
"""What the guard switches off beside outputs -> the event where it is off, where it is not, and the caution
then.
"""


@dataclass
class ShutDown:
    """Has everything switched off and writes down what happens. Nothing in it raises. linked: input that goes
    off because another tripped -> that one.
    """

    rig: Rig
    recorder: RunRecorder
    watch: Watch
    polling: Polling
    linked: Mapping[str, str] = field(default_factory=dict)
    cautions: list[str] = field(default_factory=list)
    not_confirmed: list[str] = field(default_factory=list)
    _again: dict[str, int] = field(default_factory=dict)
    """How often OFF was sent again to each output: only the first time is told when it happens."""

    def go(self, link: GuardLink, stop: StopRequest) -> dict[str, SwitchedOff]:
        """OFF has gone out: wait until everything is confirmed, or is not going to be. A second request to
        stop ends the waiting. Gives what became of every input that was on.
        """
        over = link.finish_off(self.told, urgent=lambda: stop.urgent)
        for name, count in [each for each in self._again.items() if each[1] > 1]:
            with suppress(Exception):  # what became of the outputs is not lost to it
                told = f"{count} times in all"
                self.recorder.event(EventKind.OFF_SENT_AGAIN, name, told)
        return self._became(over["ends"])

    def told(self, message: Mapping[str, Any]) -> None:
        """One thing that happened while switching off. A fault in writing it down ends no waiting."""
        try:
            self._write_down(message)
        except BaseException as error:  # noqa: BLE001 - SystemExit too: the outputs go off first
            told = f"a fault of the program while it wrote down the end of the run: {error!r}."
            self.cautions += [] if told in self.cautions else [told]

    def _write_down(self, message: Mapping[str, Any]) -> None:
        if message["kind"] == "poll":
            return  # from before; nothing is judged by it any more
        what, at = message.get("what", ""), self.recorder.at(float(message.get("time", self.rig.now())))
        match what:
            case "look":
                self._looked(message)
            case "off sent":
                name = message["input"]
                if name in self.rig.on:
                    self.rig.on.discard(name)
                    self.recorder.add_all(self.watch.switched(name, False, at))
                if source := self.linked.get(name):
                    self.recorder.event(EventKind.TRIPS_LINKED, name, time=at, facts=Facts(source=source))
                self.recorder.event(EventKind.OFF_SENT, name, time=at)
            case "off again":
                name, was_read = message["output"], message.get("read", True)
                self._again[name] = self._again.get(name, 0) + 1
                if self._again[name] == 1:
                    again = "it still says that it is on" if was_read else "it was not read to be off yet"
                    self.recorder.event(EventKind.OFF_SENT_AGAIN, name, again, at)
            case "confirmed off":
                facts = Facts(voltage=message["holds"])
                self.recorder.event(EventKind.OFF_CONFIRMED, message["input"], time=at, facts=facts)
            case "came on again":
                name, after = message["input"], message["after"]
                told = f"{show(after, 's')} after it was confirmed off: {message['why']}"
                self.recorder.event(EventKind.COMES_ON_AGAIN, name, told, at)
                self.cautions.append(f"{name} came on again {told}. OFF was sent again.")
            case "meter":
                self._read_by_meter(message, at)
            case "lost":
                self.recorder.event(EventKind.LOST, message["name"], message["why"], at)
                self.recorder.progress.switching_off(
                    f"{message['name']} is lost ({message['why']}); waiting for it: {MAINS}"
                )
            case "answers again":
                name, after = message["name"], float(message["after"])
                self.recorder.event(EventKind.ANSWERS_AGAIN, name, time=at, facts=Facts(after=after))
                if after > 1.0:
                    self.cautions.append(f"{name} was lost for {show(after, 's')}: {message['why']}.")
            case "watchdog" | "master":
                name, why = message["name"], message["why"]
                goes_off, stays_on, left = ENDINGS[what]
                self.recorder.event(goes_off if message["off"] else stays_on, name, why, at)
                self.cautions += [] if message["off"] else [f"{left.format(name)}: {why}."]
            case "errors":
                self._explained(message, at)
            case "contact":
                name, why = message["contact"], message["why"]
                kind = EventKind.CONTACT_RESTS if message["rests"] else EventKind.CONTACT_UNKNOWN
                self.recorder.event(kind, name, why or message["stands"], at)
                self.cautions += [f"Contact {name}: {why}."] if why else []
            case "stays on":
                self.recorder.event(EventKind.STAYS_ON, message["input"], message["why"], at)

    def _explained(self, message: Mapping[str, Any], at: float) -> None:
        """What a supply had in its error queue, read once all was off."""
        name = message["name"]
        entries = self.rig.supplies[name].entries(message["answers"])
        if entries:
            more = f"; and {len(entries) - MOST_TOLD} more" if len(entries) > MOST_TOLD else ""
            told = f"asked for its errors once all was off, it reports {'; '.join(entries[:MOST_TOLD])}{more}"
            self.recorder.event(EventKind.INSTRUMENT_FAILS, name, told, at)
            self.cautions.append(f"{name}: {told}.")

    def _read_by_meter(self, message: Mapping[str, Any], at: float) -> None:
        """What a multimeter said of an input once that was off by what its supplies say. Where it speaks
        against that, it stands in how the input ended.
        """
        name, against = message["name"], message["against"]
        if message["failed"]:
            self.cautions.append(f"{name} was not read after OFF: {message['failed']}.")
        elif against:
            self.recorder.event(EventKind.MULTIMETER_CONTRADICTS, message["input"], against, at)
        else:
            told = f"{name} shows {show(message['voltage'], 'V')}"
            self.recorder.event(EventKind.MULTIMETER_AGREES, message["input"], told, at)

    def _looked(self, message: Mapping[str, Any]) -> None:
        answer = Answer(message["answer"], message["sent"], message["received"])
        try:
            seen = self.polling.looked(message["name"], 0, answer)
        except InstrumentError:
            return  # the guard judges it too, and tells what is wrong
        for _, raw in seen.readings:
            events, _ = self.watch.see(self.recorder.reading(raw))
            self.recorder.add_all(events)

    def _became(self, ends: Mapping[str, Mapping[str, Any]]) -> dict[str, SwitchedOff]:
        became = {}
        for name, end in ends.items():
            newest = self.recorder.newest.get(name)
            before = None if newest is None else (newest.time, newest.voltage)
            outputs = ", ".join(output.output for output in self.rig.set_points[name].outputs)
            if line := open_question(name, outputs, end, self.recorder.at, before):
                self.not_confirmed.append(line)
            if name in self.rig.ever_on:
                became[name] = switched_off_of(name, end, before, self.watch.fell_after.get(name))
        return became
