"""Traces, events and named steps: the one form of what was predicted and what was measured."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from enum import IntEnum, StrEnum
from typing import TYPE_CHECKING, Any, NamedTuple, Self

from railwright.frozen import FrozenDict, freeze

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Array = NDArray[np.float64]
    Flags = NDArray[np.bool_]
    Places = NDArray[np.intp]


class Mode(IntEnum):
    """What regulates an output at an instant."""

    OFF = 0
    CV = 1
    CC = 2
    CP = 3
    TRIPPED = 4

    @property
    def word(self) -> str:
        """As tables of people have it: 'off', 'CV', 'CC', 'CP', 'tripped'."""
        return self.name if len(self.name) == 2 else self.name.lower()


MODE_PRECEDENCE = {
    False: (Mode.OFF, Mode.CV, Mode.CP, Mode.CC, Mode.TRIPPED),
    True: (Mode.OFF, Mode.CP, Mode.CC, Mode.CV, Mode.TRIPPED),
}
"""Whether outputs work in parallel -> whose mode is that of all of them: the last in this order that one of
them is in. In series the one in its limit holds the current of all; in parallel one that regulates the
voltage holds it, while others, set a little higher, stand in their limit and only carry their share.
"""


UNITS = {"voltage": "V", "terminal_voltage": "V", "current": "A", "mode": "1"}
"""Of each usual channel; '1' of what is a plain number."""


def header_of(name: str, channel: str) -> str:
    """What tables call a channel of an input or of a multimeter: `main_voltage_V`, `main_mode`."""
    unit = UNITS.get(channel, "1")
    return f"{name}_{channel}" if unit == "1" else f"{name}_{channel}_{unit}"


def channel_attributes(channel: str) -> dict[str, Any]:
    """What labelled arrays say of a channel: its `units`; of a mode also what each number means, as the CF
    conventions have it.
    """
    told: dict[str, Any] = {"units": UNITS.get(channel, "1")}
    if channel == "mode":
        told |= {"flag_values": [*map(int, Mode)], "flag_meanings": " ".join(mode.word for mode in Mode)}
    return told


VOLTAGES = ("voltage", "terminal_voltage")
"""Channels of a voltage; a run records one of them for each input."""
PLACES = {"voltage": "at the connector", "terminal_voltage": "at the supply's terminals"}
"""Where each of them is."""


@dataclass(frozen=True, slots=True, eq=False)
class Traces:
    """Channels of one input against one time base.

    time: seconds, shape (n,), never decreasing. columns: name -> values, shape (n,). The usual names:
    `voltage` at the input's connector [V], `terminal_voltage` at the supply's terminals [V], `current` [A],
    `mode` (values of `Mode`). A record holds only what was really measured. All are kept read-only.
    """

    time: Array
    columns: Mapping[str, Array]

    def __post_init__(self) -> None:
        for name, values in self.columns.items():
            if values.shape != self.time.shape:
                raise ValueError(f"channel '{name}' has {values.size} values for {self.time.size} instants")
        columns = {name: _read_only(values) for name, values in self.columns.items()}
        object.__setattr__(self, "time", _read_only(self.time))
        object.__setattr__(self, "columns", FrozenDict(columns))

    @property
    def in_limit(self) -> Flags:
        """Where the output is in its current or power limit; shape (n,)."""
        mode = self.columns["mode"]
        limited: Flags = (mode == Mode.CC) | (mode == Mode.CP)
        return limited

    def between(self, start: float, end: float) -> Traces:
        """The part with start <= time <= end [s]."""
        import numpy as np

        first = int(np.searchsorted(self.time, start, side="left"))
        last = int(np.searchsorted(self.time, end, side="right"))
        return Traces(self.time[first:last], {name: v[first:last] for name, v in self.columns.items()})

    def closed(self, start: float, end: float) -> Traces:
        """The part of a computed trace from start to end [s], with interpolated values at both.

        The solver's steps are as long as it can take them: the last instant inside may be far from the end.
        `mode` is not interpolated: it is that of the instant before.
        """
        import numpy as np

        inside = self.between(start, end)
        if self.time.size == 0 or end <= start or end < self.time[0] or start > self.time[-1]:
            return inside
        ends = np.clip([start, end], self.time[0], self.time[-1])
        before = rows_at(self.time, ends)
        columns = {}
        for name, values in self.columns.items():
            first, last = values[before] if name == "mode" else np.interp(ends, self.time, values)
            columns[name] = np.concatenate(([first], inside.columns[name], [last]))
        return Traces(np.concatenate((ends[:1], inside.time, ends[1:])), columns)


def _read_only(values: Array) -> Array:
    """The same values, not to be written. Of an array that owns its data that is so for good: numpy lets no
    view of it be made writable again. Whoever made the array of which it is a part still can write that.
    """
    if values.base is None:
        values.flags.writeable = False
    elif not values.flags.writeable:
        return values
    view = values.view()
    view.flags.writeable = False
    return view


class EventKind(StrEnum):
    """What can happen, each with the stable key that files hold and people read.

    trip: the protection that switched an output off, as dialects call it; empty: none did. mode: what
    regulates from then on; None: it says nothing of that.
    """

    trip: str
    mode: Mode | None

    def __new__(cls, key: str, trip: str = "", mode: Mode | None = None) -> Self:
        kind = str.__new__(cls, key)
        kind._value_, kind.trip, kind.mode = key, trip, mode
        return kind

    @classmethod
    def of(cls, key: str) -> EventKind:
        """The kind with this key; `OTHER` where there is none."""
        return cls(key) if key in cls.__members__.values() else cls.OTHER

    # Outputs, inputs and their leads, rehearsed or run
    ON = "on"
    OFF = "off"
    ENTERS_CV = "enters CV", "", Mode.CV
    ENTERS_CC = "enters CC", "", Mode.CC
    ENTERS_CP = "enters CP", "", Mode.CP
    TRIPS_OVP = "trips OVP", "OVP"
    TRIPS_CURRENT_LIMIT = "trips current limit", "current limit"
    TRIPS_LINKED = "trips linked", "linked"
    TRIPS_OPP = "trips OPP", "OPP"
    TRIPS_OCP = "trips OCP", "OCP"
    TRIPS_OTP = "trips OTP", "OTP"
    DIODE_BLOCKS = "diode blocks"
    DIODE_CONDUCTS = "diode conducts"
    FUSE_OPENS = "fuse opens"
    LEAD_OPENS = "lead opens"
    LEAD_CLOSES = "lead closes"
    PIN_ACTIVE = "pin active"
    PIN_INACTIVE = "pin inactive"
    # Loads
    STARTS = "starts"
    STOPS = "stops"
    TURNS = "turns"
    STANDS = "stands"
    # A run, from its preparation to its end
    IDENTIFIED = "identified"
    FOUND_ON = "found on"
    VOLTAGE_FOUND = "voltage before switching on"
    SOURCE_READ = "source read"
    WATCHDOG_ARMED = "watchdog armed"
    MASTER_ON = "master switch on"
    SETTINGS_WATCHED = "settings watched"
    CURRENT_LIMIT_SET = "current limit"
    POINT_LIST_STARTS = "point list starts"
    WAITS_FOR_TRIGGER = "waits for a trigger"
    WAITS_FOR_KEY = "waits for a key"
    TRIGGER_COMES = "trigger comes"
    KEY_COMES = "key comes"
    REPEATS = "repeats"
    UNTIL_COMES = "what ends the repeating comes"
    REPEATED = "repeated"
    HOLDS = "holds"
    HOLD_ENDS = "what ends the hold comes"
    HOLD_FAILS = "the hold does not end as it is to"
    ASKED = "asked by hand"
    NOT_DONE = "not done"
    LEVEL_SET = "level"
    MARKED = "mark"
    WAITS_FOR_OFF = "waits for off"
    WENT_OFF = "went off"
    STOP_CONDITION = "stop condition"
    INSTRUMENT_FAILS = "instrument fails"
    RUN_ENDS = "run ends"
    OFF_SENT = "off sent"
    OFF_SENT_AGAIN = "off sent again"
    FELL = "fell"
    OFF_CONFIRMED = "off confirmed"
    COMES_ON_AGAIN = "comes on again"
    MULTIMETER_AGREES = "multimeter reads off"
    MULTIMETER_CONTRADICTS = "multimeter contradicts off"
    STAYS_ON = "stays on"
    LOST = "lost"
    ANSWERS_AGAIN = "answers again"
    WATCHDOG_OFF = "watchdog off"
    WATCHDOG_STAYS_ON = "watchdog stays on"
    MASTER_OFF = "master switch off"
    MASTER_STAYS_ON = "master switch stays on"
    BEYOND_RANGE = "reads beyond its range"
    CONTACT_FOUND = "contact found"
    CONTACT_RESTS = "contact rests"
    CONTACT_UNKNOWN = "contact unknown"
    EVENTS_LEFT_OUT = "events left out"
    # Of a load that brings its own, or of a record of another version: `Event.words` says what
    OTHER = "something else"


def trips(protection: str) -> EventKind:
    """The event that this protection switches an output off. KeyError for one that nobody knows."""
    return _TRIPS[protection]


def enters(mode: Mode) -> EventKind:
    """The event that this begins to regulate an output. KeyError for a mode that regulates nothing."""
    return _ENTERS[mode]


_TRIPS = {kind.trip: kind for kind in EventKind if kind.trip}
_ENTERS = {kind.mode: kind for kind in EventKind if kind.mode is not None}
_OF_LOADS = (EventKind.STARTS, EventKind.STOPS, EventKind.TURNS, EventKind.STANDS)
_LEVEL_UNITS = {EventKind.TRIPS_OVP: "V", EventKind.TRIPS_OPP: "W", EventKind.TRIPS_OCP: "A"}


class Facts(NamedTuple):
    """What an event says beside its kind, SI units; left out: it does not say.

    load: the kind of the load that it happens to. source: the input whose trip it follows. limit: the
    current limit then [A]. level: that of the protection that tripped [V, W or A]. voltage, current: read
    at it, or in it. unread: no reading lies wholly in it. before: voltage [V] and current [A] read before
    it; ago: so long before [s]. within: it happened between these two instants, from the last question for
    the status whose answer did not show it to the first answer that did [s]. below: the voltage below which
    it fell [V]. after: so long after what led to it [s]. period: how often it is looked at [s]. held: the
    device itself holds the voltage. unproved: nobody has provoked what the supply names.
    """

    load: str = ""
    source: str = ""
    limit: float | None = None
    level: float | None = None
    voltage: float | None = None
    current: float | None = None
    unread: bool = False
    before: tuple[float, float] | None = None
    within: tuple[float, float] | None = None
    ago: float | None = None
    below: float | None = None
    after: float | None = None
    period: float | None = None
    held: bool = False
    unproved: bool = False

    def as_data(self) -> dict[str, Any]:
        """Those that are given, by name."""
        return {name: value for name, value in self._asdict().items() if value != Facts._field_defaults[name]}

    def __repr__(self) -> str:
        return f"Facts({', '.join(f'{name}={value!r}' for name, value in self.as_data().items())})"

    @classmethod
    def from_data(cls, data: Mapping[str, Any]) -> Facts:
        """The inverse of `as_data`; what it does not know is left out."""
        known: dict[str, Any] = {}
        for name, default in cls._field_defaults.items():
            if name not in data:
                continue
            value = data[name]
            if name in ("before", "within"):
                first, second = value
                known[name] = (float(first), float(second))
            else:
                known[name] = float(value) if default is None else type(default)(value)
        return cls(**known)


UNPROVED = "as the supply names it, and nobody has provoked it"
"""Of a trip for whose name its dialect has no proof."""

NO_FACTS = Facts()
"""Of an event that says nothing beside its kind."""


@dataclass(frozen=True, slots=True)
class Event:
    """Something that happened at an instant [s] to an input, an output, an instrument or the run.

    facts: what else is known of it. text: what was said of it where no fact says it, for people alone. words:
    what happened, where the kind is `OTHER`.
    """

    time: float
    subject: str
    kind: EventKind
    facts: Facts = NO_FACTS
    text: str = ""
    words: str = ""

    @property
    def what(self) -> str:
        """What happened, as files and people have it."""
        return self.words or self.kind.value

    @property
    def detail(self) -> str:
        """All that is said of it beside that, for people."""
        return self.text or _sentence(self.kind, self.facts)

    def __repr__(self) -> str:
        told = f"{self.what}: {self.detail}" if self.detail else self.what
        return f"<Event at {self.time:.6g} s, {self.subject}: {told}>"

    def as_data(self) -> dict[str, Any]:
        """As files hold it: `what` and `detail` for people, `facts` where there are any."""
        facts = self.facts.as_data()
        data = {"time": self.time, "subject": self.subject, "what": self.what, "detail": self.detail}
        return {**data, "facts": facts} if facts else data

    @classmethod
    def from_data(cls, data: Mapping[str, Any]) -> Event:
        """The inverse of `as_data`, also for what an earlier version wrote, without facts.

        KeyError, TypeError or ValueError where it is something else.
        """
        what, detail = str(data["what"]), str(data["detail"])
        facts = Facts.from_data(data.get("facts") or {})
        kind = EventKind.of(what)
        if facts == NO_FACTS and kind in _OF_LOADS:
            facts = Facts(load=detail)
        text = "" if _sentence(kind, facts) == detail else detail
        return cls(
            float(data["time"]),
            str(data["subject"]),
            kind,
            facts,
            text,
            what if kind is EventKind.OTHER else "",
        )


def _sentence(kind: EventKind, facts: Facts) -> str:
    """What facts say, for people: one phrase each, in the order in which they are said."""
    from railwright.quantities import show

    if kind is EventKind.FELL:
        return _fell(facts)
    if kind is EventKind.VOLTAGE_FOUND and facts.voltage is not None:
        held = ", held by the device" if facts.held else ""
        return f"{show(facts.voltage, 'V')} stand there before it is switched on{held}"
    if kind is EventKind.SOURCE_READ and facts.voltage is not None and facts.level is not None:
        return f"{show(facts.voltage, 'V')} stand there; set to {show(facts.level, 'V')} before it goes on"
    if kind is EventKind.OFF_CONFIRMED:
        return "" if facts.voltage is None else f"device holds {show(facts.voltage, 'V')}"
    if kind is EventKind.CURRENT_LIMIT_SET:
        return "as settled" if facts.limit is None else show(facts.limit, "A")
    if kind is EventKind.LEVEL_SET and facts.voltage is not None:
        return show(facts.voltage, "V")
    if kind is EventKind.SETTINGS_WATCHED and facts.period is not None:
        return f"each again in about {show(facts.period, 's')}"
    if kind is EventKind.WATCHDOG_ARMED and facts.after is not None and facts.period is not None:
        return (
            f"its outputs go off {show(facts.after, 's')} after the last message; longest silence "
            f"{show(facts.period, 's')}"
        )
    phrases = [facts.load] if facts.load else []
    if facts.unproved:
        phrases.append(UNPROVED)
    if facts.source:
        phrases.append(f"because {facts.source} tripped")
    if facts.limit is not None:
        phrases.append(f"limit {show(facts.limit, 'A')}")
    if facts.level is not None and kind in _LEVEL_UNITS:
        phrases.append(f"level {show(facts.level, _LEVEL_UNITS[kind])}")
    if facts.after is not None:
        phrases.append(f"after {show(facts.after, 's')}")
    if facts.unread:
        phrases.append("no reading lies wholly in it")
    elif facts.voltage is not None and facts.current is not None:
        phrases.append(f"at {show(facts.voltage, 'V')}, {show(facts.current, 'A')}")
    if facts.before is not None:
        phrases.append(f"before it {show(facts.before[0], 'V')}, {show(facts.before[1], 'A')}")
    return "; ".join(phrases)


def _fell(facts: Facts) -> str:
    from railwright.quantities import show

    if facts.below is None or facts.voltage is None:
        return ""
    when = "" if facts.after is None else f" {show(facts.after, 's')} after it was switched off"
    fell = f"below {show(facts.below, 'V')}{when}, at {show(facts.voltage, 'V')}"
    if facts.ago is None or facts.before is None:
        return fell
    return f"{fell}; {show(facts.ago, 's')} before that, {show(facts.before[0], 'V')}"


@dataclass(frozen=True, slots=True)
class Span:
    """A named step of the procedure in time [s]; `points`: a sweep's plateaus as (voltage, start, end).

    Of a run. whole: played to its end. late: how late its latest set point came [s]. left_out: set points
    that were not sent because the host did not keep up. time_error: bound of the error of the times at which
    its set points are recorded [s]. status_gap: longest time in which the status of an input was not known,
    from one question for it to the answer of the next [s]; 0: not recorded.
    """

    name: str
    kind: str
    start: float
    end: float
    inputs: tuple[str, ...]
    points: tuple[tuple[float, float, float], ...] = ()
    whole: bool = True
    late: float = 0.0
    left_out: int = 0
    time_error: float = 0.0
    status_gap: float = 0.0


HOW_PLAYED = ("whole", "late", "left_out", "time_error", "status_gap")
"""Fields of a span that a run's folder holds under these names; one of an earlier version does not."""


@dataclass(frozen=True, slots=True, eq=False)
class Record:
    """What a run measured or a rehearsal predicts.

    origin: 'rehearsal', 'supply readings', or a recorder's name.
    """

    origin: str
    traces: Mapping[str, Traces]
    events: tuple[Event, ...] = ()
    spans: tuple[Span, ...] = ()
    notes: Mapping[str, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        freeze(self, "traces", "notes")

    @property
    def played_until(self) -> float:
        """When the last step was cut short [s]; inf: it was not."""
        return math.inf if not self.spans or self.spans[-1].whole else self.spans[-1].end

    def span(self, name: str) -> Span:
        """The step of that name; KeyError where there is none."""
        span = span_named(self.spans, name)
        if span is None:
            raise KeyError(name)
        return span


def span_named(spans: Iterable[Span], name: str) -> Span | None:
    """The step of that name; None where there is none."""
    return next((span for span in spans if span.name == name), None)


def rows_at(time: Array, at: Array) -> Places:
    """Of each instant the last row that is not later; the first row before all of them. Shape of `at`."""
    import numpy as np

    return np.clip(np.searchsorted(time, at, side="right") - 1, 0, time.size - 1)


def runs_of(holds: Flags) -> list[tuple[int, int]]:
    """First and one past the last index of each run of True."""
    edges: list[int] = ((holds[1:] != holds[:-1]).nonzero()[0] + 1).tolist()
    if holds.size and holds[0]:
        edges.insert(0, 0)
    if holds.size and holds[-1]:
        edges.append(holds.size)
    return list(zip(edges[::2], edges[1::2], strict=True))


def crossing(time: Array, values: Array, row: int, level: float) -> float:
    """When the straight line to a row from the one before it passes a level that lies between them [s]."""
    rise = float(values[row] - values[row - 1])
    part = (level - float(values[row - 1])) / rise if rise else 1.0
    return float(time[row - 1] + part * (time[row] - time[row - 1]))


def integral_of_product(time: Array, a: Array, b: Array) -> float:
    """∫ a b dt [unit of a times unit of b times s] where both run in straight lines between the instants.

    Exact (Simpson's rule), unlike a trapezoid of the products: rows of a computed trace are far apart on a
    ramp, where that is off by up to some per cent. All of shape (n,).
    """
    import numpy as np

    sums = 2.0 * a[:-1] * b[:-1] + a[:-1] * b[1:] + a[1:] * b[:-1] + 2.0 * a[1:] * b[1:]
    return float(np.diff(time) @ sums / 6.0)
