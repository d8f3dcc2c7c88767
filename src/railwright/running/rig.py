"""The supplies of a run as what feeds each input: set, switched and read input by input."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Sequence

from railwright.documents.bench import Bench
from railwright.instruments import lists
from railwright.instruments.errors import InstrumentError
from railwright.instruments.session import Answer, OpenSession
from railwright.instruments.supply import Change, Reading, Supply
from railwright.rehearsal.delivered import Listing
from railwright.rehearsal.lines import slew_range
from railwright.rehearsal.setpoints import Feed, OutputSetPoints, SetPoints, limit_of
from railwright.running.outcome import InputReading
from railwright.traces import Mode

Failed = Callable[[InstrumentError], None]

MODE_RANK = {Mode.OFF: 0, Mode.CV: 1, Mode.CP: 2, Mode.CC: 3, Mode.TRIPPED: 4}
"""Of a group of outputs the one that is worst off speaks for all."""

OVER = 0.05
"""So long after its time a list counts as one that may still run [s]."""


class Rig:
    """Every supply that feeds an input, and nothing else of the bench.

    Commands are verified by the driver; a failure is an InstrumentError. Times are of the monotonic clock.
    """

    def __init__(self, bench: Bench, set_points: SetPoints, open_session: OpenSession) -> None:
        self.bench = bench
        self.set_points = set_points
        names = dict.fromkeys(_supply_of(o.output) for feed in set_points.values() for o in feed.outputs)
        self.supplies = {name: Supply(name, bench.supplies[name], open_session) for name in names}
        self.on: set[str] = set()
        self.off_at: dict[str, float] = {}
        self._slews: dict[str, float] = {}
        # Inputs whose outputs are ruled by their point lists: when those are over [s], their last voltage
        # [V].
        self._ruled: dict[str, tuple[float, float]] = {}

    def feeds(self) -> Iterable[tuple[str, Feed, OutputSetPoints]]:
        """(input, feed, output's set points) of every output that feeds an input."""
        for name, feed in self.set_points.items():
            for output in feed.outputs:
                yield name, feed, output

    # Setting

    def set(self, name: str, voltage: float, slew: float | None, *, switch_on: bool = False) -> float:
        """Move an input's set point, perhaps switching it on first. Gives when that was done."""
        feed = self.set_points[name]
        ruled = name in self._ruled
        if ruled:
            self._stop_list(name)
        changes: dict[str, list[Change]] = {}
        for output in feed.outputs:
            supply, own = output.output.split(".", 1)
            mine = changes.setdefault(supply, [])
            if slew is not None:
                mine += self.slew_changes(output, slew)
            if switch_on:
                mine.append(Change(own, "output", True))
            lowest = self.bench.output(output.output).voltage.low
            mine.append(Change(own, "voltage", max(voltage * output.share, lowest)))
        if switch_on:
            # From here on it counts as energised, also when the command fails half-way.
            self.on.add(name)
        answers = [self.supplies[supply].put_together(mine) for supply, mine in changes.items()]
        if slew is not None:
            self._slews.update({output.output: slew * output.share for output in feed.outputs})
        if ruled:
            # The new set point stands by now, so that nothing else comes in between.
            self._release(name)
        return _middle(answers)

    def limit(self, name: str, current: float | None) -> float:
        """Set an input's current limit [A], None: the one that was settled. Gives when that was done."""
        feed = self.set_points[name]
        part = 1.0 if current is None else current / limit_of(feed)
        changes: dict[str, list[Change]] = {}
        for output in feed.outputs:
            supply, own = output.output.split(".", 1)
            changes.setdefault(supply, []).append(Change(own, "current_limit", output.current_limit * part))
        return _middle([self.supplies[supply].put_together(mine) for supply, mine in changes.items()])

    # Point lists

    def load(self, listing: Listing) -> None:
        """Load a list into the outputs of its input, each with its share, and ask all of it back."""
        feed, points = self.set_points[listing.input], listing.points
        if listing.input in self._ruled:
            # Where the list before has led to, so that nothing moves when the set point rules again.
            self.set(listing.input, self._ruled[listing.input][1], None)
        for output in feed.outputs:
            supply, own = output.output.split(".", 1)
            voltages = tuple((points.voltages * output.share).tolist())
            dwells = tuple(points.dwells.tolist())
            lists.load(
                self.supplies[supply],
                lists.OwnList(own, voltages, dwells, listing.count, points.between),
            )

    def arm(self, listing: Listing) -> None:
        """Let the lists of an input's outputs rule, verified; nothing moves yet."""
        name = listing.input
        if name in self._ruled:
            return
        self._ruled[name] = 0.0, float(listing.points.voltages[-1])
        for supply, outputs in self.outputs_by_supply(name).items():
            for own in outputs:
                lists.arm(self.supplies[supply], own)

    def play(self, listing: Listing) -> float:
        """Start the lists of an input's outputs together, their slew at its fastest. Gives when that was
        done.
        """
        name = listing.input
        self.arm(listing)
        slews = slew_range(self.set_points[name], self.bench)
        if slews is not None:
            self._fastest(name, slews[1])
        by_supply = self.outputs_by_supply(name).items()
        done = _middle([lists.start(self.supplies[supply], outputs) for supply, outputs in by_supply])
        self._ruled[name] = done + listing.duration, self._ruled[name][1]
        return done

    def _fastest(self, name: str, slew: float) -> None:
        """A slew that was programmed for a line before would hold back the list."""
        for output in self.set_points[name].outputs:
            if changes := self.slew_changes(output, slew):
                self.supplies[_supply_of(output.output)].put_together(changes)
                self._slews[output.output] = slew * output.share

    def _stop_list(self, name: str) -> None:
        """End the lists of an input, where they may still run: it ends all lists of their supplies."""
        if time.monotonic() < self._ruled[name][0] + OVER:
            for supply in self.outputs_by_supply(name):
                lists.stop(self.supplies[supply])

    def _release(self, name: str) -> None:
        for supply, outputs in self.outputs_by_supply(name).items():
            for own in outputs:
                lists.release(self.supplies[supply], own)
        del self._ruled[name]

    def slew_changes(self, output: OutputSetPoints, slew: float) -> list[Change]:
        """Rising and falling slew of one output [V/s of the input's voltage]; nothing where it stands so."""
        supply, own = output.output.split(".", 1)
        wanted = slew * output.share
        if self._slews.get(output.output) == wanted:
            return []
        settings = self.supplies[supply].dialect.settings
        return [Change(own, name, wanted) for name in ("slew_rising", "slew_falling") if name in settings]

    def off(self, name: str, failed: Failed | None = None) -> float:
        """Switch the outputs of an input off, verified. Gives when that was done [s, monotonic].

        failed: told of a supply that does not do it, while the others go on; else that is raised.
        """
        answers = []
        for supply, outputs in self.outputs_by_supply(name).items():
            try:
                answers.append(self.supplies[supply].switch_off(outputs))
            except InstrumentError as error:
                if failed is None:
                    raise
                failed(error)
        done = _middle(answers)
        if name in self._ruled:
            self._end_list(name, failed)
        if name in self.on:
            self.on.discard(name)
            self.off_at[name] = done
        return done

    def _end_list(self, name: str, failed: Failed | None) -> None:
        """End the lists of an input that is off by now."""
        del self._ruled[name]
        for supply, outputs in self.outputs_by_supply(name).items():
            try:
                lists.stop(self.supplies[supply])
                for own in outputs:
                    lists.release(self.supplies[supply], own)
            except InstrumentError as error:
                if failed is None:
                    raise
                failed(error)

    def outputs_by_supply(self, name: str) -> dict[str, list[str]]:
        """Supply -> its outputs that feed an input."""
        by_supply: dict[str, list[str]] = {}
        for output in self.set_points[name].outputs:
            supply, own = output.output.split(".", 1)
            by_supply.setdefault(supply, []).append(own)
        return by_supply

    def close(self) -> None:
        for supply in self.supplies.values():
            supply.close()

    # Reading

    def read(
        self, names: Sequence[str], *, explain: bool = False, failed: Failed | None = None
    ) -> list[InputReading]:
        """One reading of each of these inputs, each supply asked once.

        time: the middle of question and answer less the reading's latency as the bench states it (unknown:
        none); what the value covers lies before that, by the aperture, perhaps older by one update.
        failed: told of a supply that does not answer, whose inputs are then left out; else that is raised.
        """
        readings: dict[str, Reading] = {}
        for supply_name, supply in self.supplies.items():
            wanted = [
                output.output.split(".", 1)[1]
                for name in names
                for output in self.set_points[name].outputs
                if _supply_of(output.output) == supply_name
            ]
            if not wanted or (failed is not None and supply.lost):
                continue
            try:
                answers = supply.read(wanted, explain=explain)
            except InstrumentError as error:
                if failed is None:
                    raise
                failed(error)
                continue
            readings.update({f"{supply_name}.{own}": reading for own, reading in answers.items()})
        whole = [name for name in names if all(o.output in readings for o in self.set_points[name].outputs)]
        return [self._together(name, readings) for name in whole]

    def _together(self, name: str, readings: dict[str, Reading]) -> InputReading:
        feed = self.set_points[name]
        parts = [readings[output.output] for output in feed.outputs]
        voltages, currents = [part.voltage for part in parts], [part.current for part in parts]
        count = len(parts)
        series = feed.arrangement == "series"
        modes = [part.mode for part in parts if part.mode is not None]
        times = [part.time - self._latency(o.output) for part, o in zip(parts, feed.outputs, strict=True)]
        return InputReading(
            time=sum(times) / count,
            input=name,
            at=feed.sense,
            voltage=sum(voltages) if series else sum(voltages) / count,
            current=sum(currents) if feed.arrangement == "parallel" else sum(currents) / count,
            mode=max(modes, key=MODE_RANK.__getitem__) if modes else None,
            trip=next((part.trip for part in parts if part.trip), ""),
            outputs=tuple((o.output, p.voltage, p.current) for o, p in zip(feed.outputs, parts, strict=True)),
            age=max(self._age(o.output) for o in feed.outputs),
        )

    def _latency(self, output: str) -> float:
        reading = self.bench.output(output).reading
        return reading.latency or 0.0 if reading else 0.0

    def _age(self, output: str) -> float:
        """How old the oldest part of a reading may be when it is handed over [s]; unknown: none."""
        reading = self.bench.output(output).reading
        return sum(t or 0.0 for t in (reading.latency, reading.aperture, reading.update)) if reading else 0.0


def _supply_of(output: str) -> str:
    return output.partition(".")[0]


def _middle(answers: Sequence[Answer]) -> float:
    """The instant a command took hold: the middle of its first exchange."""
    return answers[0].middle if answers else time.monotonic()
