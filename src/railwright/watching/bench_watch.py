"""Reads outputs of a bench over days and writes a log of them. It sets and switches nothing, and selects an
output only where it was given leave to.

A supply that a run holds is not spoken to: the run's guard tells what the run reads. Any other is read over a
guard process of this log's own, which is given nothing to switch off.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, NamedTuple

from railwright.documents.bench import Bench
from railwright.documents.output_name import OutputName
from railwright.guard.link import GuardLink, GuardLost, Message
from railwright.guard.locks import normalised
from railwright.instruments.errors import InstrumentError
from railwright.instruments.guarded import open_guarded
from railwright.instruments.session import TIMEOUT, Answer
from railwright.instruments.supply import OutputReading, SupplyDriver
from railwright.quantities import show
from railwright.records.log import Log
from railwright.records.manifest import write_json
from railwright.running.interruption import StopRequest
from railwright.version import SOFTWARE
from railwright.watching.conditions import AnyOf, LogCondition, LogRow
from railwright.watching.files import Form, LogFiles, LogStatistics, instant_text, mode_word, supplies_of
from railwright.watching.grid import LATE, Grid, Readings
from railwright.watching.run_readings import GuardGone, RunReadings

ABOUT, EVENTS = "watch.json", "events.ndjson"

LEAD = 0.05
"""Before the first readings [s]."""

LOOK = 0.1
"""How long nothing is waited for at most [s], before rows that wait are looked at."""

PAUSES = (1.0, 2.0, 5.0, 10.0, 30.0)
"""Before each try to reach a supply again [s]; the last one for ever."""

MAKE_WAY = 15.0
"""How long supplies are left alone after 'railwright off' has asked for them [s]: some take one client."""

KNOWN_EVERY = 10.0
"""How often a supply is asked who it is [s]: an answer too many would shift all that follow."""

SHARE = 0.095
"""Part of a session's time that this may take."""

LEAST_TOLD = 1.0
"""Rows that came too late for less than this [s] are told in the rows, and in no event."""

CLOCK_SET = 0.5
"""A clock of the wall that moved so far [s] between two rows was set, or the computer slept."""

RUN_OVER = 0.2
"""After the end of a run, before its supplies are looked for [s]: its guard lets go of them."""

NOT_YET, NO_LINK, NOT_BY_RUN, NO_RUN = "not read yet", "no link", "not read by the run", "run over"


class Change(NamedTuple):
    """How far a reading has to move before a row is written [V, A]."""

    voltage: float = math.inf
    current: float = math.inf


@dataclass(frozen=True)
class WatchOrder:
    """What is logged: outputs, the interval [s], what the log begins with and ends at, and its files.

    change: only rows with a reading that moved by more are written; None: all. most: rows of a file;
    lasting: time that a file covers [s]. select: whether outputs may be selected to be read.
    """

    outputs: tuple[OutputName, ...]
    every: float
    begin: tuple[LogCondition, ...] = ()
    until: tuple[LogCondition, ...] = ()
    change: Change | None = None
    form: Form = "csv"
    most: float = math.inf
    lasting: float = math.inf
    select: bool = False


class NotSelected(InstrumentError):
    """A supply that can be read only by selecting an output, which nobody gave leave to."""


class WatchProgress:
    """Told while a log goes on; it neither waits nor raises."""

    def event(self, line: str) -> None:
        """Something happened, in one line."""

    def row(self, row: LogRow, statistics: LogStatistics, rows: int) -> None:
        """A row, the statistics of all until then, and how many were written."""


@dataclass(frozen=True)
class WatchOutcome:
    """How a log ended. duration: from its first row to its last [s]. instants: rows with those that were not
    written, as nothing changed. missed: supply -> why -> rows without it. lost: supply -> how often its link
    was lost. failed: why the disk took no more, '' where it did.
    """

    folder: Path
    why: str
    rows: int
    instants: int
    duration: float
    missed: Mapping[str, Mapping[str, int]]
    lost: Mapping[str, int]
    statistics: LogStatistics
    failed: str = ""
    dropped: int = 0


@dataclass
class _Watched:
    """A supply, and how it is read. gone: why it is not; '' while it is."""

    name: str
    used: tuple[str, ...]
    place: str
    driver: SupplyDriver
    gone: str = NOT_YET
    read: tuple[str, ...] = ()
    first: int = 0
    series: int = 0
    run: RunReadings | None = None
    run_name: str = ""
    retry_at: float = -math.inf
    tries: int = 0
    lost_at: float = math.nan
    lost: int = 0
    missed: Counter[str] = field(default_factory=Counter)
    gap: tuple[str, float, int] | None = None
    """Why nothing is read, since when [s of the log], and rows so far."""
    instrument: Mapping[str, str] | None = None


class _Stopped(Exception):
    """Somebody ends the log while a supply is being reached."""


class BenchWatch:
    """One log, once. link: makes a guard to read through. guard_at: process and control address of the guard
    that holds an address. offset: from the clock of the readings to that of the wall [s].
    """

    # Many: what is read, over what, until when, and who is told.
    def __init__(
        self,
        bench: Bench,
        order: WatchOrder,
        folder: Path,
        *,
        link: Callable[[], GuardLink],
        guard_at: Callable[[str], tuple[int, str] | None],
        offset: Callable[[], float],
        stop: StopRequest,
        progress: WatchProgress | None = None,
    ) -> None:
        self._bench, self._order, self._folder = bench, order, folder
        self._make_link, self._guard_at, self._offset = link, guard_at, offset
        self._stop, self._progress = stop, progress or WatchProgress()
        self._link = link()
        self._told: list[Message] = []
        self._runs: dict[int, RunReadings] = {}
        self._supplies = {
            name: self._watched(name, tuple(o.output for o in order.outputs if o.supply == name))
            for name in supplies_of(order.outputs)
        }
        self._files = LogFiles(folder, order.outputs, order.form, order.most, order.lasting)
        self._begin, self._until = AnyOf(order.begin), AnyOf(order.until)
        self._grid: Grid | None = None
        self._events: Log | None = None
        self._zero: float | None = None if order.begin else 0.0
        self._why = ""
        self._written: LogRow | None = None
        self._last: LogRow | None = None
        self._clock = math.nan
        self._states: dict[OutputName, tuple[bool, str]] = {}

    def _watched(self, name: str, used: tuple[str, ...]) -> _Watched:
        document = self._bench.supplies[name]
        driver = SupplyDriver(name, document, open_guarded(self._link))
        return _Watched(name, used, normalised(document.address), driver)

    # From beginning to end

    def go(self) -> WatchOutcome:
        """Read until a condition is met or somebody stops it. InstrumentError where a supply cannot be read
        at the beginning: nothing is written then. OSError where the folder cannot be.
        """
        try:
            self._watch_for_stop()
            with suppress(_Stopped):
                for each in self._supplies.values():
                    self._reach(each)
            self._folder.mkdir(parents=True, exist_ok=True)
            self._events = Log(self._folder / EVENTS)
            self._grid = Grid(self._link.now() + LEAD, self._order.every, list(self._supplies))
            self._clock = self._offset()
            write_json(self._folder / ABOUT, self._about())
            for each in self._supplies.values():
                if not each.gone:
                    self._ask(each)
            while not self._ended():
                self._turn()
            return self._finish()
        finally:
            self._let_go()

    def _ended(self) -> bool:
        if not self._why and self._stop.reason is not None:
            self._why = self._stop.reason
        if self._files.failed is not None:
            self._why = "the disk takes no more"
        return bool(self._why)

    def _turn(self) -> None:
        """Take in what came, hand out the rows that are complete, and try again where nothing is read."""
        try:
            self._link.wait(self._link.now() + LOOK)
            self._take_in()
            self._close_rows()
            for message in self._told:
                self._hear(message)
            self._told.clear()
            for each in self._supplies.values():
                if each.gone and each.run is None and self._link.now() >= each.retry_at:
                    self._try_again(each)
        except GuardLost as lost:
            self._renew(f"the guard of this log was lost: {lost}", self._link.now())
        except _Stopped:
            return

    def _watch_for_stop(self) -> None:
        """Also while a supply is being reached, the others are read and their rows are written."""

        def meanwhile() -> None:
            if self._stop.reason is not None:
                raise _Stopped
            self._sort_inbox()
            self._close_rows()

        self._link.interrupted = meanwhile
        self._link.watched = (self._stop.wait_fd, *(run.fileno() for run in self._runs.values()))

    def _finish(self) -> WatchOutcome:
        unwritten = self._last is not None and self._last is not self._written
        if self._last is not None and unwritten and self._files.failed is None:
            self._files.add_last(self._last)
        for each in self._supplies.values():
            self._end_gap(each)
        self._files.close()
        last = self._last.time if self._last is not None else 0.0
        outcome = WatchOutcome(
            self._folder,
            self._why,
            self._files.rows,
            self._files.whole.rows,
            last,
            {name: dict(each.missed) for name, each in self._supplies.items()},
            {name: each.lost for name, each in self._supplies.items()},
            self._files.whole,
            "" if self._files.failed is None else str(self._files.failed),
            self._files.dropped,
        )
        self._note("ends", self._why, rows=outcome.rows)
        if self._events is not None:
            # What it keeps free is for what follows.
            self._events.close()
        try:
            write_json(self._folder / ABOUT, {**self._about(), **ending_data(outcome)})
        except OSError as error:
            return outcome if outcome.failed else outcome_failed(outcome, error)
        return outcome

    def _let_go(self) -> None:
        for run in self._runs.values():
            run.close()
        self._link.interrupted = lambda: None
        self._link.close()
        if self._events is not None:
            self._events.close()

    def _about(self) -> dict[str, Any]:
        """What `watch.json` says from the beginning on."""
        assert self._grid is not None
        return {
            "software": SOFTWARE,
            "bench": self._bench.bench,
            "outputs": list(self._order.outputs),
            "interval_s": self._order.every,
            "change": None if self._order.change is None else _finite(self._order.change._asdict()),
            "from": [each.words for each in self._order.begin],
            "until": [each.words for each in self._order.until],
            "reading_begins": instant_text(self._grid.start + self._offset()),
            "supplies": {
                name: {
                    "address": self._bench.supplies[name].address,
                    "identification": None if each.instrument is None else dict(each.instrument),
                    "through_the_guard_of_a_run": each.run is not None,
                }
                for name, each in self._supplies.items()
            },
            "ended": None,
        }

    # Reaching supplies

    def _reach(self, each: _Watched) -> None:
        """Find out who reads it, and connect where nobody does. InstrumentError."""
        document = self._bench.supplies[each.name]
        holder = self._guard_at(document.address)
        if holder is not None and holder[0] != getattr(self._link, "pid", None):
            self._look_on(each, *holder)
            return
        if not self._order.select and (selecting := selecting_unit(self._bench, each.name, each.used[0])):
            told = f"its outputs are read by selecting one ('{selecting}'), which moves its panel, and what "
            told += "another program tells the selected output then goes to the wrong one: nothing was "
            told += "asked; give --select (select=True) where neither matters"
            raise NotSelected(each.name, "", told)
        each.driver = SupplyDriver(each.name, document, open_guarded(self._link))
        each.driver.connect()
        identity = each.driver.identify()
        each.instrument, each.read, each.gone = identity.fields, each.used, ""

    def _look_on(self, each: _Watched, process: int, control: str) -> None:
        """Have the guard of a run tell what it reads. InstrumentError where it does not."""
        try:
            if process not in self._runs:
                self._runs[process] = RunReadings(process, control, self._link.now())
        except GuardGone as gone:
            raise InstrumentError(each.name, "", str(gone), lost=True) from None
        each.run, each.run_name, each.gone = self._runs[process], "", NOT_YET
        self._watch_for_stop()
        self._event(
            "through", f"{each.name}: a run reads it (its guard is process {process}); not asked here"
        )

    def _ask(self, each: _Watched) -> None:
        """Have it asked on the grid from now on."""
        assert self._grid is not None
        now, every = self._link.now(), self._order.every
        each.series += 1
        each.first = self._grid.after(now) if now >= self._grid.start else 0
        deadline = max(TIMEOUT, each.driver.dialect.session_settings.patience)
        given: dict[str, Any] = {"every": every, "deadline": deadline, "series": each.series}
        identify = [each.driver.dialect.instrument.identify]
        self._link.poll(
            each.name,
            "readings",
            each.driver.look(each.read),
            start=self._grid.instant(each.first),
            outputs=list(each.read),
            **given,
        )
        given |= {"known": identify, "known_every": KNOWN_EVERY, "share": SHARE, "least": KNOWN_EVERY}
        self._link.poll(each.name, "settings", [identify], **given)

    def _try_again(self, each: _Watched) -> None:
        try:
            self._reach(each)
        except InstrumentError as error:
            each.retry_at = self._link.now() + PAUSES[min(each.tries, len(PAUSES) - 1)]
            each.tries += 1
            self._note("not back", f"{error}")
            return
        if each.run is None:
            self._ask(each)
            self._back(each)

    def _back(self, each: _Watched) -> None:
        each.tries = 0
        if not math.isnan(each.lost_at):
            lost = self._link.now() - each.lost_at
            self._event("back", f"{each.name}: read again after {show(lost, 's')}", supply=each.name)
        each.lost_at = math.nan

    def _lose(self, each: _Watched, why: str, retry_in: float = PAUSES[0]) -> None:
        """Its link is lost: it is not read any more, until it is reached again."""
        if not each.gone:
            each.lost += 1
            self._event("lost", f"{each.name}: {why}", supply=each.name)
        self._leave(each, NO_LINK, retry_in)

    def _leave(self, each: _Watched, gone: str, retry_in: float) -> None:
        if math.isnan(each.lost_at):
            each.lost_at = self._link.now()
        each.gone, each.run, each.run_name = gone, None, ""
        each.retry_at, each.tries = self._link.now() + retry_in, 0

    def _renew(self, why: str, now: float, pause: float = 0.0) -> None:
        """A guard of its own that is gone, or was told to switch off and passes nothing on: another one."""
        with suppress(GuardLost):
            self._link.close()
        self._link = self._make_link()
        self._watch_for_stop()
        for each in self._supplies.values():
            if each.run is None:
                self._lose(each, why, pause)

    # What comes

    def _take_in(self) -> None:
        """Everything that has come, so that no row is given up whose reading lies there."""
        self._stop.drain()
        while self._link.inbox:
            self._sort_inbox()
            self._link.wait(self._link.now())
        for run in list(self._runs.values()):
            try:
                for message in run.take(self._link.now()):
                    self._hear_of_run(run, message)
            except GuardGone as gone:
                self._run_over(run, str(gone))

    def _sort_inbox(self) -> None:
        while self._link.inbox:
            message = self._link.inbox.popleft()
            if message["kind"] == "poll":
                self._understand(message)
            else:
                self._told.append(message)

    def _understand(self, message: Message) -> None:
        """An answer of a supply that is read here."""
        each = self._supplies[message["name"]]
        if each.gone or each.run is not None or message["series"] != each.series:
            return
        if "error" in message:
            self._lose(each, message["error"])
            return
        if message["tag"] == "readings":
            assert self._grid is not None
            self._put(each, each.first + message["turn"], message)
        elif each.driver.identity is not None and message["answer"] != each.driver.identity.answer:
            told = f"expected its identification, got {message['answer'][:60]!r}: its answers are out of step"
            self._give_up(each, told)

    def _put(self, each: _Watched, number: int, message: Message) -> None:
        assert self._grid is not None
        answer = Answer(message["answer"], message["sent"], message["received"])
        try:
            found = each.driver.understood_look(each.read, answer)
        except InstrumentError as error:
            self._give_up(each, error.told)
            return
        readings: Readings = {OutputName.of(each.name, own): found[own] for own in each.used if own in found}
        if number >= 0 and readings:
            self._grid.put(each.name, number, readings)

    def _give_up(self, each: _Watched, why: str) -> None:
        """Its answers make no sense: the session is opened anew, or the run's next answer is waited for."""
        if each.run is not None:
            self._note("not understood", f"{each.name}: {why}")
            return
        for tag in ("readings", "settings"):
            self._link.poll(each.name, tag, [])
        self._lose(each, why)

    def _hear(self, message: Message) -> None:
        """What its own guard tells beside readings: somebody has it switch off, which is none of its work."""
        if message["kind"] == "off begun":
            self._renew(f"left alone for {MAKE_WAY:g} s: {message['why']}", self._link.now(), MAKE_WAY)

    def _hear_of_run(self, run: RunReadings, message: Message) -> None:
        match message["kind"]:
            case "reads":
                place = normalised(message["address"]) if message["address"] else ""
                for each in self._supplies.values():
                    if each.run is run and each.place == place:
                        self._as_run_reads(each, message)
            case "poll" if self._grid is not None:
                for each in self._supplies.values():
                    if each.run is run and each.run_name == message["name"] and not each.gone:
                        self._of_run(each, message)
            case "off begun":
                self._event("run", f"the run that reads them switches off: {message['why']}")
            case "refused":
                self._run_over(run, message["why"])

    def _of_run(self, each: _Watched, message: Message) -> None:
        assert self._grid is not None
        if "error" in message:
            each.gone = NO_LINK
            self._event("lost", f"{each.name}: the run lost it: {message['error']}", supply=each.name)
            return
        middle = (message["sent"] + message["received"]) / 2
        self._put(each, self._grid.holding(middle), message)

    def _as_run_reads(self, each: _Watched, message: Message) -> None:
        """The outputs that the run reads of a supply, if it asks as this bench document would."""
        outputs = tuple(map(str, message["outputs"] or ()))
        each.run_name, each.gone = message["name"], NOT_BY_RUN
        if not message["messages"]:
            return
        known = all(own in each.driver.outputs for own in outputs) and outputs
        if not known or list(each.driver.look(outputs)) != list(message["messages"]):
            told = "the run asks it otherwise than this bench document says: watch with the run's own"
            self._event("otherwise", f"{each.name}: {told}", supply=each.name)
            return
        left = [own for own in each.used if own not in outputs]
        each.read, each.gone = outputs, NOT_BY_RUN if len(left) == len(each.used) else ""
        with suppress(ValueError):
            each.instrument = each.driver.dialect.identified(message["identity"])
        if left:
            told = f"{', '.join(f'{each.name}.{own}' for own in left)}: not read by the run, which holds it"
            self._event("not by run", told, supply=each.name)
        every = show(message["every"], "s")
        self._event("through", f"{each.name}: read through the guard of a run, which reads it every {every}")
        self._back(each)

    def _run_over(self, run: RunReadings, why: str) -> None:
        run.close()
        self._runs = {process: each for process, each in self._runs.items() if each is not run}
        self._event("run", f"{', '.join(e.name for e in self._supplies.values() if e.run is run)}: {why}")
        for each in self._supplies.values():
            if each.run is run:
                self._leave(each, NO_RUN, RUN_OVER)
        self._watch_for_stop()

    # Rows

    def _close_rows(self) -> None:
        if self._grid is None or self._why:
            return
        offset = self._offset()
        if abs(offset - self._clock) > CLOCK_SET:
            told = f"the clock of the wall went {show(offset - self._clock, 's')} further than time itself"
            self._event("clock", f"{told}: it was set, or the computer slept")
        self._clock = offset
        gone = {name: each.gone for name, each in self._supplies.items() if each.gone}
        for row in self._grid.rows(self._link.now(), gone, offset):
            self._closed(row)
            if self._ended():
                return

    def _closed(self, row: LogRow) -> None:
        """One row: does the log begin with it, is it written, does the log end with it."""
        row = self._with_outputs_missed(row)
        if self._zero is None:
            if (found := self._begin.met(row, 0)) is None:
                return
            self._zero = row.time
            self._event("begins", f"the log begins: {found.words}")
        row = row._replace(time=row.time - self._zero)
        self._note_missed(row)
        self._note_states(row)
        written = self._is_news(row)
        files = self._files.count
        self._files.add(row, written=written)
        if files and self._files.count != files:
            self._event("file", f"next file: {self._files.path.name}")
        if written:
            self._written = row
        self._last = row
        self._progress.row(row, self._files.whole, self._files.rows)
        if (ended := self._until.met(row, self._files.rows)) is not None:
            self._why = ended.words

    def _with_outputs_missed(self, row: LogRow) -> LogRow:
        """With the outputs of which a run that reads their supply reads nothing."""
        more: dict[str, str] = {
            name: NOT_BY_RUN
            for name in self._order.outputs
            if name not in row.readings and name.supply not in row.missed
        }
        return row._replace(missed={**row.missed, **more}) if more else row

    def _is_news(self, row: LogRow) -> bool:
        """Whether it is written: all are, or something in it moved."""
        change, before = self._order.change, self._written
        if change is None or before is None:
            return True
        if row.missed != before.missed:
            return True
        return any(_moved(reading, before.readings[name], change) for name, reading in row.readings.items())

    def _note_missed(self, row: LogRow) -> None:
        for name, each in self._supplies.items():
            why = row.missed.get(name)
            if each.gap is not None and each.gap[0] != why:
                self._end_gap(each)
            if why is not None:
                each.missed[why] += 1
                since, rows = (row.time, 0) if each.gap is None else each.gap[1:]
                each.gap = why, since, rows + 1

    def _end_gap(self, each: _Watched) -> None:
        if each.gap is None:
            return
        why, since, rows = each.gap
        each.gap = None
        lasted = rows * self._order.every
        if why != LATE or lasted >= LEAST_TOLD:
            told = f"{each.name}: nothing read from {since:.3f} s on for {show(lasted, 's')} ({rows} rows)"
            told += f": {why}"
            self._event("missed", told, supply=each.name, rows=rows, since=round(since, 6))

    def _note_states(self, row: LogRow) -> None:
        """An output that goes on or off, or trips, is an event."""
        for name, reading in row.readings.items():
            state = reading.on, reading.trip
            before = self._states.get(name)
            self._states[name] = state
            if before is not None and before != state:
                told = f"tripped by {reading.trip}" if reading.trip else ("on" if reading.on else "off")
                self._event("output", f"{name}: {told}", output=name, time=round(row.time, 6))

    def _event(self, what: str, line: str, **fields: Any) -> None:
        """For people, and for the file of events."""
        self._note(what, line, **fields)
        self._progress.event(line)

    def _note(self, what: str, line: str, **fields: Any) -> None:
        """For the file of events alone."""
        if self._events is not None:
            utc = instant_text(self._link.now() + self._offset())
            self._events.write("event", what=what, utc=utc, told=line, **fields)


def _moved(now: OutputReading, before: OutputReading, change: Change) -> bool:
    further = (
        abs(now.voltage - before.voltage) > change.voltage
        or abs(now.current - before.current) > change.current
    )
    return further or mode_word(now) != mode_word(before) or now.trip != before.trip


def _finite(values: Mapping[str, float]) -> dict[str, float | None]:
    return {name: value if math.isfinite(value) else None for name, value in values.items()}


def ending_data(outcome: WatchOutcome) -> dict[str, Any]:
    """How a log ended, as `watch.json` and `--json` have it."""
    return {
        "ended": outcome.why,
        "rows": outcome.rows,
        "instants": outcome.instants,
        "duration_s": outcome.duration,
        "missed_rows": {name: dict(each) for name, each in outcome.missed.items()},
        "links_lost": dict(outcome.lost),
        "not_written": outcome.failed or None,
        "rows_dropped": outcome.dropped,
        "statistics": outcome.statistics.as_data(),
    }


def outcome_failed(outcome: WatchOutcome, error: OSError) -> WatchOutcome:
    """The same, with what could not be written in the end."""
    return replace(outcome, failed=str(error))


def cautions_of(bench: Bench, order: WatchOrder) -> tuple[str, ...]:
    """What reading does to the supplies that it speaks to itself, beside asking; one line each."""
    names = supplies_of(order.outputs)
    told = [
        f"{', '.join(names)}: read over a connection of its own where no run holds it: until this ends, no "
        "run can begin on it, and where it takes one client no other program reaches it"
    ]
    for name in names:
        settings = bench.supplies[name].session_settings
        sent = [each.text for each in (*settings.opening, *settings.closing)]
        if sent:
            told.append(
                f"{name}: the session begins and ends with '{'; '.join(sent)}', which may move its panel"
            )
        selecting = selecting_unit(bench, name, next(o.output for o in order.outputs if o.supply == name))
        if selecting and order.select:
            told.append(f"{name}: its outputs are selected to be read ('{selecting}'), which moves its panel")
    return tuple(told)


def selecting_unit(bench: Bench, supply: str, output: str) -> str:
    """The command by which an output is selected to be read, for everybody; '' where none is."""
    document = bench.supplies[supply]
    return "".join(document.dialect.select(document.channels[output])[:1])
