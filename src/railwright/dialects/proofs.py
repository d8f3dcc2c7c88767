"""What of a dialect was shown to be true at an instrument, and which entries of the dialect that rests on.

A supply may answer every question of a dialect and still mean something else by it: a bit that lies beside,
a unit that is a thousand times another, on and off exchanged. What was provoked, and seen to come, is proved
for that model and version; a changed entry makes what rests on it unproved again, and nothing else.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Literal, get_args

from railwright.dialects.dialect import Dialect
from railwright.dialects.operation import CHOICES, SWITCHES, DialectPart, Setting
from railwright.dialects.status import TripFlag

Provoked = Literal[
    "on", "off", "CV", "CC", "OVP", "current limit", "OPP", "OCP", "linked", "rising slew", "falling slew"
]
"""What can be provoked at an output: it goes on and off, it regulates, a protection of its own acts, it goes
off because another output trips, its voltage rises and falls at the slew that is set.
"""

PROVOKED: tuple[Provoked, ...] = get_args(Provoked)

ALWAYS: tuple[Provoked, ...] = ("on", "off", "CV", "CC")
"""What every run rests on; a trip, or a slew, is needed where a run uses it."""

_SET_BY: Mapping[str, tuple[Setting, ...]] = {
    "on": ("output", "voltage"),
    "off": ("output", "voltage"),
    "CV": ("output", "voltage"),
    "CC": ("output", "current_limit"),
    "OVP": ("output", "voltage", "ovp", "ovp_on"),
    "current limit": ("output", "current_limit", "trip_at_limit", "trip_delay"),
    "OPP": ("output", "opp", "opp_on"),
    "OCP": ("output", "ocp", "ocp_on", "ocp_delay"),
    "linked": ("output",),
    "rising slew": ("output", "voltage", "slew_rising"),
    "falling slew": ("output", "voltage", "slew_rising", "slew_falling"),
}
"""Settings by which each is provoked."""

_READ_BY = {"CC": "current", "current limit": "current", "OCP": "current"}
"""The reading by which it is seen, where that is not the voltage."""


@dataclass(frozen=True, slots=True)
class InstrumentModel:
    """Who an instrument says that it is, but for its serial number: all of a model and version are alike."""

    maker: str
    model: str
    version: str

    def __str__(self) -> str:
        return f"{self.model}, version {self.version or 'not told'}"


@dataclass(frozen=True, slots=True)
class Proof:
    """One thing that was provoked at one output of an instrument.

    entries: `entries_of` the dialect at that time. digest: of its file. at: ISO 8601. by: who was there.
    how: the command. seen: what came, for people.
    """

    instrument: InstrumentModel
    channel: int
    provoked: Provoked
    entries: str
    dialect: str
    digest: str
    at: str
    by: str
    how: str
    seen: str = ""


@dataclass(frozen=True)
class Proofs:
    """All that is kept of what was proved, oldest first."""

    known: tuple[Proof, ...] = ()

    def of(self, dialect: Dialect, instrument: InstrumentModel, channel: int) -> dict[Provoked, Proof]:
        """What is proved of a dialect at an output of such an instrument, by the newest proof of each."""
        found = {}
        wanted: dict[Provoked, str] = {}
        for proof in self.known:
            if proof.instrument != instrument or proof.channel != channel:
                continue
            name = proof.provoked
            if name not in wanted:
                wanted[name] = entries_of(dialect, name, channel)
            if proof.entries == wanted[name]:
                found[name] = proof
        return found

    def instruments(self, model: str | None) -> tuple[InstrumentModel, ...]:
        """Those of a model of which something was proved; None: of any."""
        all_of_them = dict.fromkeys(proof.instrument for proof in self.known)
        return tuple(each for each in all_of_them if model in (None, each.model))

    def missing(
        self, dialect: Dialect, instrument: InstrumentModel, channel: int, needed: Collection[Provoked]
    ) -> tuple[Provoked, ...]:
        """What of that is not proved, in the order of `PROVOKED`."""
        proved = self.of(dialect, instrument, channel)
        return tuple(each for each in PROVOKED if each in needed and each not in proved)


COMMANDED_BY: Mapping[Provoked, Setting] = {
    "OVP": "ovp",
    "current limit": "trip_at_limit",
    "OPP": "opp",
    "OCP": "ocp",
    "linked": "ovp",
    "rising slew": "slew_rising",
    "falling slew": "slew_rising",
}
"""A trip, or a slew -> the setting without whose command there is none to be provoked: a linked trip follows
an OVP of another output, and a fall goes by the one slew that there is where the dialect has no other for it.
"""


def provokable(dialect: Dialect) -> tuple[Provoked, ...]:
    """What a dialect has commands for, of what can be provoked. What a person sets rests on no word of it."""
    lacks = {"linked": dialect.link is None, "falling slew": dialect.by_hand("slew_falling")}
    can = (each for each in PROVOKED if each in ALWAYS or dialect.can_set(COMMANDED_BY[each]))
    return tuple(each for each in can if not lacks.get(each))


def entries_of(dialect: Dialect, provoked: Provoked, channel: int) -> str:
    """SHA-256 of the entries that this rests on, in hexadecimal: those by which it is provoked at this
    output, and those by which it is seen.
    """
    entries = {
        "how": _manner(dialect, channel),
        "set": {name: _setting(dialect, name) for name in _SET_BY[provoked]},
        "read": _reading(dialect, _READ_BY.get(provoked, "voltage")),
        "told": _told(dialect, provoked),
    }
    if provoked == "linked":
        entries["linked by"] = [dialect.link, dialect.words.get("no link")]
    text = json.dumps(entries, sort_keys=True, ensure_ascii=True)
    return hashlib.sha256(text.encode()).hexdigest()


def _manner(dialect: Dialect, channel: int) -> dict[str, Any]:
    """What every command rests on: how outputs are named, lines end, and errors are asked for."""
    try:
        called = dialect.spoken.name(channel)
    except ValueError:  # it has no name for it, and nothing can be said to it
        called = ""
    # Left out where there is none, so that what was proved of such a dialect before stays proved.
    master = {} if dialect.master is None else {"master": dialect.master.model_dump(mode="json")}
    session, instrument = (part.model_dump(mode="json") for part in (dialect.session, dialect.instrument))
    unsaid = [key for key in ("boot", "opening", "closing", "longest") if not session[key]]
    for key in [*unsaid, *(["parted_by"] if session["parted_by"] == "," else [])]:
        del session[key]
    for entry in (*session.get("opening", ()), *session.get("closing", ())):
        if isinstance(entry, dict):
            entry.pop("because")  # it proves nothing, whatever it says
    for key, usual in (("selected", None), ("power_on", None), ("error_form", "quoted")):
        if instrument[key] == usual:
            del instrument[key]
    return {
        **master,
        "addressing": dialect.addressing,
        "prefix": dialect.prefix,
        "called": called,
        "compound": dialect.compound,
        "list_readings": dialect.list_readings,
        "instrument": instrument,
        "session": session,
        "identification": dialect.identification.model_dump(mode="json"),
    }


def _setting(dialect: Dialect, name: Setting) -> Any:
    """A setting with the words that it is set by; None where the dialect does not have it."""
    if name not in dialect.settings:
        return None
    words: Iterable[str] = ("on", "off") if name in SWITCHES else ()
    assert name not in CHOICES, "nothing that is provoked is set by a choice of words"
    own = _dumped(dialect.settings[name])
    return {**own, "words": {word: dialect.words.get(word) for word in words}}


def _dumped(part: DialectPart) -> dict[str, Any]:
    """A part of a dialect; without what it does not say of keys that there were none of before."""
    new = ("field", "answers_on", "answers_off", "code")
    return {key: each for key, each in part.model_dump(mode="json").items() if each or key not in new}


def _reading(dialect: Dialect, quantity: str) -> list[str | None]:
    readings = dialect.readings
    asked = getattr(readings, quantity)
    whole = asked if asked is None or isinstance(asked, str) else json.dumps(_dumped(asked), sort_keys=True)
    own = [whole, getattr(readings, f"{quantity}_unit")]
    return own if readings.both is None else [*own, readings.both.query, *readings.both.fields]


def _told(dialect: Dialect, provoked: Provoked) -> Any:
    """Where the status tells it: a query and a bit, or a word. Of what regulates all bits together are
    looked at, of trips each alone, with those that would be told by the same one.
    """
    mode, trips = dialect.status.mode, dialect.status.trips
    if provoked in ("CV", "CC"):
        return None if mode is None else _dumped(mode)
    if provoked in ("on", "off", "rising slew", "falling slew"):
        return None
    # One header stands for itself, as in what was proved before there could be several.
    own_clears = dialect.actions.clear_trips
    clears = own_clears if len(own_clears) > 1 else "".join(own_clears) or None
    by: Mapping[Any, int | str | TripFlag] = trips.bits or trips.words or trips.each or {}
    own = by.get(provoked)
    alike = sorted(name for name, each in by.items() if each == own and own is not None)
    told = [own.query, _plain(own.field)] if isinstance(own, TripFlag) else own
    field = [] if trips.field is None else [_plain(trips.field)]
    return [trips.told, trips.query, told, alike, clears, *field]


def _plain(field: int | Mapping[int, int] | None) -> Any:
    """A field, or those by output, as JSON has them."""
    return {str(key): each for key, each in field.items()} if isinstance(field, Mapping) else field
