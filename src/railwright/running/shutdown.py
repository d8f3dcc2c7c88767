"""The end of a run: the guard switches everything off; what it reads on the way goes into the record."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from railwright.documents.device import Device
from railwright.guard.client import GuardLink
from railwright.instruments.errors import InstrumentError
from railwright.instruments.session import Answer
from railwright.quantities import show
from railwright.running.interruption import StopRequest
from railwright.running.off_order import off_threshold
from railwright.running.outcome import SwitchedOff
from railwright.running.polling import Polling
from railwright.running.recorder import Recorder
from railwright.running.rig import Rig
from railwright.running.watch import Watch

DECAY_LIMIT = 10.0
"""How long the voltage may take to fall that far before it counts as a residual [s]."""

MAINS = "use the mains switch, and measure before touching"
"""What to do about an output that is not confirmed off."""


@dataclass
class ShutDown:
    """Has everything switched off and writes down what happens. Nothing in it raises."""

    rig: Rig
    recorder: Recorder
    watch: Watch
    polling: Polling
    device: Device
    cautions: list[str] = field(default_factory=list)
    not_confirmed: list[str] = field(default_factory=list)

    def go(self, link: GuardLink, why: str, *, orderly: bool, stop: StopRequest) -> dict[str, SwitchedOff]:
        """Switch off and wait until everything is confirmed, or is not going to be. A second request to stop
        ends the waiting. Gives what became of every input that was on.
        """
        over = link.switch_off(why, self._told, orderly=orderly, urgent=lambda: stop.urgent)
        return self._became(over["ends"])

    def _told(self, message: Mapping[str, Any]) -> None:
        """One thing that happened while switching off. A fault in writing it down ends no waiting."""
        try:
            self._write_down(message)
        except Exception as error:  # noqa: BLE001 - whatever it is, the outputs go off first
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
                self.recorder.event("off sent", name, time=at)
            case "off again":
                self.recorder.event("off sent again", message["output"], "it still says that it is on", at)
            case "confirmed off":
                held = message["holds"]
                detail = "" if held is None else f"device holds {show(held, 'V')}"
                self.recorder.event("off confirmed", message["input"], detail, at)
            case "lost":
                self.recorder.event("lost", message["name"], message["why"], at)
                self.recorder.progress.switching_off(
                    f"{message['name']} is lost ({message['why']}); waiting for it: {MAINS}"
                )
            case "answers again":
                after = show(message["after"], "s")
                self.recorder.event("answers again", message["name"], f"after {after}", at)
                if message["after"] > 1.0:
                    self.cautions.append(f"{message['name']} was lost for {after}: {message['why']}.")
            case "watchdog":
                name, why = message["name"], message["why"]
                self.recorder.event("watchdog off" if message["off"] else "watchdog stays on", name, why, at)
                if not message["off"]:
                    self.cautions.append(f"The watchdog of {name} stays on: {why}.")
            case "stays on":
                self.recorder.event("stays on", message["input"], message["why"], at)

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
        for name in ends:
            end = ends[name]
            threshold = off_threshold(self.device, name)
            off_sent, fell = end["off_sent"], end["fell"]
            fell_after = None if fell is None or off_sent is None else max(0.0, fell - off_sent)
            fell_after = self.watch.fell_after.get(name, fell_after)
            if not end["confirmed"] and not end["stays_on"]:
                self.not_confirmed.append(self._line(name, end))
            if name not in self.rig.ever_on:
                continue
            became[name] = SwitchedOff(
                name,
                end["off_read"] is not None,
                threshold,
                fell_after if end["confirmed"] and end["holds"] is None else None,
                abs(end["voltage"]) if end["voltage"] is not None else 0.0,
                end["confirmed"],
                end["holds"],
                end["stays_on"],
            )
        return became

    def _line(self, name: str, end: Mapping[str, Any]) -> str:
        """What is not confirmed about an input: which outputs, since when, the last voltage, what to do."""
        outputs = ", ".join(output.output for output in self.rig.set_points[name].outputs)
        sent = end["off_sent"]
        since = "no OFF was sent" if sent is None else f"OFF was sent at {show(self.recorder.at(sent), 's')}"
        newest = self.recorder.newest.get(name)
        last = "no voltage was read"
        if end["voltage"] is not None:
            last = f"last read {show(end['voltage'], 'V')} at {show(self.recorder.at(end['read_at']), 's')}"
        elif newest is not None:
            before = ", before OFF" if sent is not None else ""
            last = f"last read {show(newest.voltage, 'V')} at {show(newest.time, 's')}{before}"
        return f"{name} ({outputs}): {end['why'] or 'not waited for'}; {since}; {last}; {MAINS}"
