"""The supplies of a run as what feeds each input: set, switched and read input by input."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager

from railwright.documents.bench import Bench
from railwright.documents.output_name import OutputName
from railwright.grouping import grouped
from railwright.instruments import lists
from railwright.instruments.errors import InstrumentError
from railwright.instruments.session import Answer, OpenSession
from railwright.instruments.supply import OutputReading, OutputSetting, SupplyDriver
from railwright.plan.current_limits import told_limits
from railwright.plan.listing import Listing
from railwright.plan.needed_proofs import ProofNeed
from railwright.plan.set_points import Feed, OutputSetPoints, SetPoints
from railwright.plan.stairs import exchange_of, slew_range
from railwright.running.expected import Expected
from railwright.running.outcome import InputReading
from railwright.traces import MODE_PRECEDENCE, EventKind

Failed = Callable[[InstrumentError], None]

LINKED = EventKind.TRIPS_LINKED.trip
"""A trip that follows another: of a group of outputs the other one says why."""

OVER = 0.05
"""So long after its time a list counts as one that may still run [s]."""


@contextmanager
def _told(failed: Failed | None) -> Iterator[None]:
    """What an instrument does not do in here is told, so that the others go on; None: it is raised."""
    try:
        yield
    except InstrumentError as error:
        if failed is None:
            raise
        failed(error)


class Rig:
    """Every supply that feeds an input, and nothing else of the bench.

    Commands are verified by the driver; a failure is an InstrumentError. Times are of the clock of the
    sessions. on: inputs whose outputs were switched on. ever_on: those that were at any time.
    """

    def __init__(
        self,
        bench: Bench,
        set_points: SetPoints,
        open_session: OpenSession,
        now: Callable[[], float] = time.monotonic,
    ) -> None:
        self.bench = bench
        self.now = now
        self.switched: Callable[[str, bool, float], None] = lambda name, on, when: None
        """Told at once when an input has been switched, before anything else is said to its supplies."""
        self.set_points = set_points
        names = dict.fromkeys(o.output.supply for feed in set_points.values() for o in feed.outputs)
        self.supplies = {name: SupplyDriver(name, bench.supplies[name], open_session) for name in names}
        self.on: set[str] = set()
        self.ever_on: set[str] = set()
        self.settings = Expected(bench)
        self.exchange_error = 0.0
        """How exactly the time of the last command is known [s]."""
        self.proof_needs: list[ProofNeed] = []
        """What it rests on of what was proved of its dialects, once its supplies were identified."""
        self._slews: dict[str, float] = {}
        self._led: dict[str, dict[OutputName, float]] = {}
        # Inputs whose outputs are ruled by their point lists: when those are over [s], their last voltage
        # [V].
        self._ruled: dict[str, tuple[float, float]] = {}

    def feeds(self) -> Iterable[tuple[str, Feed, OutputSetPoints]]:
        """(input, feed, output's set points) of every output that feeds an input."""
        return ((name, feed, output) for name, feed in self.set_points.items() for output in feed.outputs)

    def used(self, supply: str) -> tuple[str, ...]:
        """The outputs of a supply that feed an input, in the order of the bench document."""
        used = {output.output for _, _, output in self.feeds()}
        return tuple(own for own in self.supplies[supply].outputs if f"{supply}.{own}" in used)

    def share(self, output: str) -> float:
        """The part of its input's voltage that an output carries."""
        return next(each.share for _, _, each in self.feeds() if each.output == output)

    def unproved_trip(self, name: str, trip: str) -> bool:
        """Whether an output of an input was not proved to name this trip; a simulated one needs no proof."""
        needs = [each for each in self.proof_needs if each.output in self.set_points[name].names]
        return any(trip not in each.proved for each in needs)

    def inputs_of(self, supply: str) -> tuple[str, ...]:
        """The inputs that a supply feeds."""
        return tuple(name for name in self.set_points if supply in self.outputs_by_supply(name))

    def slower_than_taken(self) -> dict[str, tuple[float, float]]:
        """Supply -> the time that one command with its verification takes at least, by those of this run, and
        that which the documents have for it [s], where that is less.
        """
        found = {}
        for name, driver in self.supplies.items():
            took = driver.expected_time(2)
            taken = exchange_of([OutputName.of(name, own) for own in self.used(name)], self.bench)
            if took > taken:
                found[name] = took, taken
        return found

    # Setting

    def put(self, supply: str, changes: Sequence[OutputSetting]) -> None:
        """Set one after the other, each verified, and expect them to stay so."""
        self.supplies[supply].put(changes)
        self.settings.told(supply, changes, self.now())

    def _put_together(
        self,
        changes: Mapping[str, Sequence[OutputSetting]],
        at: float | None = None,
        stop_lists: bool = False,
    ) -> Sequence[Answer]:
        """Set settings of several supplies, one message each, and expect them to stay so.

        stop_lists: the same message first ends what lists of theirs still run.
        """
        answers = []
        for supply, own in changes.items():
            driver = self.supplies[supply]
            first = lists.stop_units(driver) if stop_lists else ()
            moved = self.settings.limits_moved_by(supply, own)
            self.settings.under_way(supply, own)
            answers.append(driver.put_together(own, at, first, moved))
            self.settings.told(supply, own, self.now())
        return answers

    def set(
        self,
        name: str,
        voltage: float,
        slew: float | None,
        *,
        switch_on: bool = False,
        at: float | None = None,
    ) -> float:
        """Move an input's set point, perhaps switching it on first, at an instant [s] where one is given.

        Gives when that was done.
        """
        feed = self.set_points[name]
        ruled = name in self._ruled
        changes: dict[str, list[OutputSetting]] = {}
        for output in feed.outputs:
            own = output.output.output
            mine = changes.setdefault(output.output.supply, [])
            goal = max(voltage * output.share, self.bench.output(output.output).voltage.low)
            if slew is not None:
                mine += self._slews_along(feed, output, goal, slew)
                mine += self.slew_changes(output, slew)
            if switch_on:
                mine.append(OutputSetting(own, "output", True))
            mine.append(OutputSetting(own, "voltage", goal))
        if switch_on:
            # From here on it counts as energised, also when the command fails half-way.
            self.on.add(name)
            self.ever_on.add(name)
        # What hands a set point over ahead of its time must not end the list before: its last points, and
        # the line that leads to the last one, go on until the new one takes hold.
        answers = self._put_together(changes, at, stop_lists=ruled and self._may_play(name))
        done = self._middle(answers)
        if switch_on:
            self.switched(name, True, done)
        for output in feed.outputs:
            for led in self._led.values():
                led.pop(output.output, None)
        if slew is not None:
            self._slews.update({output.output: slew * output.share for output in feed.outputs})
        if ruled:
            # The new set point stands by now, so that nothing else comes in between.
            self._release(name)
        return done

    def preset(self, name: str, voltage: float) -> None:
        """Set an input's outputs to a voltage [V] while they are off, each with its share, verified."""
        changes = grouped(
            (
                each.output.supply,
                OutputSetting(
                    each.output.output,
                    "voltage",
                    max(voltage * each.share, self.bench.output(each.output).voltage.low),
                ),
            )
            for each in self.set_points[name].outputs
        )
        self._put_together(changes)

    def limit(self, name: str, current: float | None, at: float | None = None) -> float:
        """Set an input's current limit [A], None: the one that was settled; others that the supply couples
        move with it, and are verified with it. Gives when that was done.
        """
        limits = told_limits(self.set_points[name], current)
        changes = grouped(
            (name.supply, OutputSetting(name.output, "current_limit", limit))
            for name, limit in limits.items()
        )
        return self._middle(self._put_together(changes, at))

    def limits(self) -> dict[str, float]:
        """The current limit of each input as it was set, or moved by coupling [A]."""
        return self.settings.limits_of(self.set_points)

    # Point lists

    def load(self, listing: Listing) -> None:
        """Load a list into the outputs of its input, each with its share, and ask all of it back."""
        feed, points = self.set_points[listing.input], listing.points
        if listing.input in self._ruled:
            # Where the list before has led to, so that nothing moves when the set point rules again.
            self.set(listing.input, self._ruled[listing.input][1], None)
        for output in feed.outputs:
            voltages = tuple((points.voltages * output.share).tolist())
            dwells = tuple(points.dwells.tolist())
            lists.load(
                self.supplies[output.output.supply],
                lists.OwnList(output.output.output, voltages, dwells, listing.count, points.between),
            )

    def arm(self, listing: Listing) -> None:
        """Let the lists of an input's outputs rule, verified; nothing moves yet."""
        name = listing.input
        if name in self._ruled:
            return
        self._ruled[name] = 0.0, float(listing.points.voltages[-1])
        self.settings.ruled(self.set_points[name].names)
        for supply, outputs in self.outputs_by_supply(name).items():
            for own in outputs:
                lists.arm(self.supplies[supply], own)
                self.settings.told(supply, [OutputSetting(own, "voltage_mode", "list")], self.now())

    def play(self, listing: Listing, at: float | None = None) -> float:
        """Start the lists of an input's outputs together, their slew at its fastest, at an instant [s] where
        one is given. Gives when that was done.
        """
        name = listing.input
        self.arm(listing)
        slews = slew_range(self.set_points[name], self.bench)
        if slews is not None:
            self._fastest(name, slews[1])
        by_supply = self.outputs_by_supply(name).items()
        done = self._middle(
            [lists.start(self.supplies[supply], outputs, at) for supply, outputs in by_supply]
        )
        self._ruled[name] = done + listing.duration, self._ruled[name][1]
        return done

    def _fastest(self, name: str, slew: float) -> None:
        """A slew that was programmed for a line before would hold back the list."""
        for output in self.set_points[name].outputs:
            if changes := self.slew_changes(output, slew):
                self._put_together({output.output.supply: changes})
                self._slews[output.output] = slew * output.share

    def _may_play(self, name: str) -> bool:
        """Whether the lists of an input may still run; to end them ends all lists of their supplies."""
        return self.now() < self._ruled[name][0] + OVER

    def _release(self, name: str) -> None:
        for supply, outputs in self.outputs_by_supply(name).items():
            for own in outputs:
                self._fixed(supply, own)
        del self._ruled[name]

    def _fixed(self, supply: str, own: str) -> None:
        """Let the set point of one output rule again."""
        lists.release(self.supplies[supply], own)
        self.settings.told(supply, [OutputSetting(own, "voltage_mode", "fixed")], self.now())

    def slew_changes(self, output: OutputSetPoints, slew: float) -> list[OutputSetting]:
        """Rising and falling slew of one output [V/s of the input's voltage]; nothing where it stands so."""
        own, wanted = output.output.output, slew * output.share
        if self._slews.get(output.output) == wanted:
            return []
        settings = self.supplies[output.output.supply].dialect.settings
        return [
            OutputSetting(own, name, wanted) for name in ("slew_rising", "slew_falling") if name in settings
        ]

    def _slews_along(
        self, feed: Feed, output: OutputSetPoints, goal: float, slew: float
    ) -> list[OutputSetting]:
        """Slews of outputs of other inputs whose voltage goes with this one's to `goal` [V] by coupling: they
        take as long for a line of this input's `slew` [V/s] as it does, and jump as fast as they can.
        """
        fastest = slew_range(feed, self.bench)
        found: list[OutputSetting] = []
        # What is told to go on faster to the same goal moves nothing: those that it led there go on with it.
        moved = self.settings.voltages_moved_by(output.output, goal) or self._led.get(output.output, {})
        self._led[output.output] = moved
        for other, ratio in moved.items():
            own = next(((n, f, o) for n, f, o in self.feeds() if o.output == other), None)
            if own is None or own[1] is feed or own[0] in self._ruled:
                continue
            slews = slew_range(own[1], self.bench)
            if slews is None or fastest is None:
                continue
            wanted = slew * output.share * ratio / own[2].share
            if slew >= fastest[1]:
                wanted = slews[1]
            wanted = min(max(wanted, slews[0]), slews[1])
            found += self.slew_changes(own[2], wanted)
            self._slews[other] = wanted * own[2].share
        return found

    def off(self, name: str, failed: Failed | None = None, at: float | None = None) -> float:
        """Switch the outputs of an input off, verified by their state. Gives when that was done [s].

        failed: told of a supply that does not do it, while the others go on; else that is raised.
        """
        answers = []
        for supply, outputs in self.outputs_by_supply(name).items():
            with _told(failed):
                answers.append(self.supplies[supply].switch_off(outputs, at))
                self.settings.told(
                    supply, [OutputSetting(own, "output", False) for own in outputs], self.now()
                )
        done = self._middle(answers)
        if name in self.on:
            self.switched(name, False, done)
        self.on.discard(name)
        if name in self._ruled:
            self._end_list(name, failed)
        return done

    def _end_list(self, name: str, failed: Failed | None) -> None:
        """End the lists of an input that is off by now."""
        del self._ruled[name]
        for supply, outputs in self.outputs_by_supply(name).items():
            with _told(failed):
                lists.stop(self.supplies[supply])
                for own in outputs:
                    self._fixed(supply, own)

    def _middle(self, answers: Sequence[Answer]) -> float:
        """The instant a command took hold: the middle of its first exchange. Keeps how exactly that is known:
        half an exchange, or the skew between the supplies where that is more.
        """
        if not answers:
            return self.now()
        middles = [answer.middle for answer in answers]
        halves = [(answer.received - answer.sent) / 2 for answer in answers]
        self.exchange_error = max(*halves, max(middles) - min(middles))
        return middles[0]

    def outputs_by_supply(self, name: str) -> dict[str, list[str]]:
        """Supply -> its outputs that feed an input."""
        return grouped((each.supply, each.output) for each in self.set_points[name].names)

    def close(self) -> None:
        for supply in self.supplies.values():
            supply.close()

    # Reading

    def read(self, names: Sequence[str], *, failed: Failed | None = None) -> list[InputReading]:
        """One reading of each of these inputs, each supply asked once.

        time: the middle of question and answer less the reading's latency as the bench states it (unknown:
        none); what the value covers lies before that, by the aperture, perhaps older by one update.
        failed: told of a supply that does not answer, whose inputs are then left out; else that is raised.
        """
        readings: dict[OutputName, OutputReading] = {}
        for supply_name, supply in self.supplies.items():
            wanted = [
                output.output.output
                for name in names
                for output in self.set_points[name].outputs
                if output.output.supply == supply_name
            ]
            if not wanted or (failed is not None and supply.lost):
                continue
            with _told(failed):
                answers = supply.read(wanted)
                readings.update(
                    {OutputName.of(supply_name, own): reading for own, reading in answers.items()}
                )
        whole = [name for name in names if all(o.output in readings for o in self.set_points[name].outputs)]
        return [self.together(name, readings) for name in whole]

    def together(self, name: str, readings: Mapping[OutputName, OutputReading]) -> InputReading:
        """What the readings of its outputs say of an input."""
        feed = self.set_points[name]
        parts = [readings[output.output] for output in feed.outputs]
        voltages, currents = [part.voltage for part in parts], [part.current for part in parts]
        count = len(parts)
        series, parallel = feed.arrangement == "series", feed.arrangement == "parallel"
        modes = [part.mode for part in parts if part.mode is not None]
        exchanges = [part.exchange for part in parts if part.exchange is not None]
        times = [part.time - self._latency(o.output) for part, o in zip(parts, feed.outputs, strict=True)]
        return InputReading(
            time=sum(times) / count,
            input=name,
            at=feed.sense,
            voltage=sum(voltages) if series else sum(voltages) / count,
            current=sum(currents) if parallel else sum(currents) / count,
            mode=max(modes, key=MODE_PRECEDENCE[parallel].index) if modes else None,
            # What tripped by itself, where others of its outputs only followed it.
            trip=min((part.trip for part in parts if part.trip), key=LINKED.__eq__, default=""),
            outputs=tuple((o.output, p.voltage, p.current) for o, p in zip(feed.outputs, parts, strict=True)),
            age=max(self._age(o.output) for o in feed.outputs),
            off=tuple(o.output for o, part in zip(feed.outputs, parts, strict=True) if not part.on),
            asked=min(part.time for part in parts),
            exchange=(min(each[0] for each in exchanges), max(each[1] for each in exchanges))
            if len(exchanges) == count
            else None,
        )

    def _latency(self, output: OutputName) -> float:
        reading = self.bench.output(output).reading
        return reading.latency or 0.0 if reading else 0.0

    def _age(self, output: OutputName) -> float:
        """How old the oldest part of a reading may be when it is handed over [s]; unknown: none."""
        reading = self.bench.output(output).reading
        return sum(t or 0.0 for t in (reading.latency, reading.aperture, reading.update)) if reading else 0.0
