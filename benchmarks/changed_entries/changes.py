"""What can be wrong in a dialect's file, one entry at a time: each change is a whole file of its own."""

from __future__ import annotations

import copy
import io
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import combinations, permutations
from typing import Any, get_args

from railwright.dialects.dialect import Addressing
from railwright.dialects.files import dialect_text
from railwright.dialects.operation import SWITCHES, UNIT_OF
from railwright.dialects.words import OPPOSITES

Data = dict[str, Any]

NAME = "changed"
"""What the changed dialect is called."""

MILLI = {"V": "mV", "A": "mA", "s": "ms", "V/s": "V/ms", "W": "mW"}
"""SI unit -> one of a thousandth, or of a thousand times."""

OTHER_WORDS = ({"on": "MAX", "off": "MIN"}, {"on": "MIN", "off": "MAX"}, {"on": "2", "off": "OFF"})
"""Words for on and off beside the usual ones. What the usual ones mean the reader of the file knows."""


@dataclass(frozen=True)
class Change:
    """One entry changed: where it stands, what was done to it, and the whole file. Of thousands few are
    written.
    """

    entry: str
    what: str
    data: Data

    @property
    def text(self) -> str:
        """As it stands in a file."""
        from ruamel.yaml import YAML

        out = io.StringIO()
        YAML(typ="safe", pure=True).dump(self.data, out)
        return out.getvalue()

    def __str__(self) -> str:
        return f"{self.entry}: {self.what}"


def changes(dialect: str) -> Iterator[Change]:
    """Every change of a shipped dialect, always in the same order."""
    whole = _read(dialect_text(dialect)) | {"dialect": NAME}
    for part in (_settings, _exchanged, _numbers, _words, _readings, _modes, _trips, _manner, _others):
        for entry, what, edit in part(whole):
            made = copy.deepcopy(whole)
            edit(made)
            if made != whole:
                yield Change(entry, what, made)


def unchanged(dialect: str) -> Change:
    """The file as it is, by the name of a changed one."""
    return Change("nothing", "unchanged", _read(dialect_text(dialect)) | {"dialect": NAME})


def _read(text: str) -> Data:
    from ruamel.yaml import YAML

    read: Data = YAML(typ="safe", pure=True).load(text)
    return read


Edit = Callable[[Data], None]
Edits = Iterator[tuple[str, str, Edit]]


def _put(place: tuple[Any, ...], value: Any) -> Edit:
    """Another value at a place of the file; None: there is none there."""

    def edit(data: Data) -> None:
        for key in place[:-1]:
            data = data.setdefault(key, {})
        if value is None:
            data.pop(place[-1], None)
        else:
            data[place[-1]] = value

    return edit


def _both(one: tuple[tuple[Any, ...], Any], other: tuple[tuple[Any, ...], Any]) -> Edit:
    def edit(data: Data) -> None:
        _put(*one)(data)
        _put(*other)(data)

    return edit


def _spoken(written: Any) -> Data | None:
    """A setting as a mapping of command and query; None: it has none."""
    if isinstance(written, str):
        return None if written in ("by hand", "cannot") else {"command": written, "query": f"{written}?"}
    return dict(written)


def _alike(whole: Data) -> Iterator[tuple[str, Data, str, Data]]:
    """Pairs of settings of one kind, numbers or switches."""
    spoken = {name: found for name in whole["settings"] if (found := _spoken(whole["settings"][name]))}
    for one, other in permutations(spoken, 2):
        if (one in SWITCHES) == (other in SWITCHES) and (one in UNIT_OF) == (other in UNIT_OF):
            yield one, spoken[one], other, spoken[other]


def _settings(whole: Data) -> Edits:
    """Command, query, or both of another setting."""
    for one, own, other, theirs in _alike(whole):
        place = ("settings", one)
        for key in ("command", "query"):
            if key in own and key in theirs:
                yield f"settings.{one}.{key}", f"that of {other}", _put(place, {**own, key: theirs[key]})
        both: Data = {**own, **{key: theirs[key] for key in ("command", "query") if key in theirs}}
        yield f"settings.{one}", f"that of {other}", _put(place, both)


def _exchanged(whole: Data) -> Edits:
    settings = whole["settings"]
    for one, _, other, _ in _alike(whole):
        if one < other:
            edit = _both((("settings", one), settings[other]), (("settings", other), settings[one]))
            yield f"settings.{one}", f"exchanged with {other}", edit
    for one, written in settings.items():
        if _spoken(written):
            for instead in ("by hand", "cannot", None):
                yield f"settings.{one}", f"{instead or 'left out'}", _put(("settings", one), instead)


def _numbers(whole: Data) -> Edits:
    """Units, digits, a resolution; a number of the output that stands fast."""
    for name, written in whole["settings"].items():
        own = _spoken(written)
        if own is None:
            continue
        if name in UNIT_OF:
            unit = UNIT_OF[name]
            place = ("settings", name)
            yield (
                f"settings.{name}.unit",
                "a thousand times another",
                _put(place, {**own, "unit": unit if own.get("unit") == MILLI[unit] else MILLI[unit]}),
            )
            for digits in (0, 1):
                yield f"settings.{name}.digits", str(digits), _put(place, {**own, "digits": digits})
            yield f"settings.{name}.resolution", "1000", _put(place, {**own, "resolution": 1000.0})
        for channel in ("1", "2"):
            if "{channel}" in own.get("query", ""):
                fast = {key: _of(text, channel) for key, text in own.items()}
                yield f"settings.{name}", f"always of output {channel}", _put(("settings", name), fast)


def _of(text: Any, channel: str) -> Any:
    return text.replace("{channel}", channel) if isinstance(text, str) else text


def _words(whole: Data) -> Edits:
    words = whole["words"]
    for pair in OPPOSITES:
        if all(word in words for word in pair):
            one, other = pair
            edit = _both((("words", one), words[other]), (("words", other), words[one]))
            yield f"words.{one}", f"exchanged with {other}", edit
    for given in OTHER_WORDS:
        told = f"{given['on']} and {given['off']}"
        yield "words.on", told, _put(("words",), {**words, **given})
        for name in SWITCHES & whole["settings"].keys():
            if own := _spoken(whole["settings"][name]):
                yield f"settings.{name}.on", told, _put(("settings", name), {**own, **given})
    for name in SWITCHES & whole["settings"].keys():
        if own := _spoken(whole["settings"][name]):
            swapped = {**own, "on": words["off"], "off": words["on"]}
            yield f"settings.{name}.on", "exchanged with off", _put(("settings", name), swapped)
    if "no link" in words:
        yield "words.no link", "ALL", _put(("words", "no link"), "ALL")
    yield "words.on", "left out", _put(("words", "on"), None)


def _readings(whole: Data) -> Edits:
    own, settings = whole["readings"], whole["settings"]
    if "both" in own:
        yield from _both_readings(whole)
        return
    exchanged = _both((("readings", "voltage"), own["current"]), (("readings", "current"), own["voltage"]))
    yield "readings.voltage", "exchanged with current", exchanged
    for what, other, setting, units in (
        ("voltage", "current", "voltage", ("mV", "kV")),
        ("current", "voltage", "current_limit", ("mA", "uA")),
    ):
        yield f"readings.{what}", f"that of {other}", _put(("readings", what), own[other])
        for name in (setting, "ovp", "output"):
            if spoken := _spoken(settings[name]):
                yield f"readings.{what}", f"the set {name}", _put(("readings", what), spoken["query"])
        for unit in units:
            yield f"readings.{what}_unit", unit, _put(("readings", f"{what}_unit"), unit)
        for channel in ("1", "2"):
            fast = _put(("readings", what), _of(own[what], channel))
            yield f"readings.{what}", f"always of output {channel}", fast


def _both_readings(whole: Data) -> Edits:
    """Of voltage and current in one answer."""
    own, settings = whole["readings"]["both"], whole["settings"]
    fields = own["fields"]
    for other in (fields[::-1], ["other", *fields], [*fields, "other"], [*fields, "voltage"], fields[:1]):
        yield "readings.both.fields", ", ".join(other), _put(("readings", "both", "fields"), other)
    queries = [spoken["query"] for name in ("voltage", "output") if (spoken := _spoken(settings[name]))]
    for query in (*queries, "MEASure:VOLTage?", whole["status"]["mode"]["query"]):
        yield "readings.both.query", query, _put(("readings", "both", "query"), query)
    for what, unit in (("voltage", "mV"), ("voltage", "kV"), ("current", "mA"), ("current", "uA")):
        # The unit that the answer itself has counts.
        yield f"readings.{what}_unit", f"{unit} beside it", _put(("readings", f"{what}_unit"), unit)
    alone = {"voltage": "MEASure:VOLTage?", "current": "FETCh:CURRent?"}
    yield "readings", "each by its own query", _put(("readings",), alone)
    exchanged = {"voltage": "MEASure:CURRent?", "current": "FETCh:VOLTage?"}
    yield "readings", "each by that of the other", _put(("readings",), exchanged)


def _moved(place: tuple[str, ...], by: Data) -> Edits:
    """Bits moved, words and queries exchanged, entries left out."""
    entry = ".".join(place)
    for name, own in by.items():
        if isinstance(own, int):
            for bit in range(16):
                if abs(bit - own) == 1 or bit in (0, 15):
                    yield f"{entry}.{name}", f"bit {bit}", _put((*place, name), bit)
        else:
            for channel in ("1", "2"):
                fast = _put((*place, name), _of(own, channel))
                yield f"{entry}.{name}", f"always of output {channel}", fast
        yield f"{entry}.{name}", "left out", _put((*place, name), None)
    for one, other in combinations(by, 2):
        edit = _both(((*place, one), by[other]), ((*place, other), by[one]))
        yield f"{entry}.{one}", f"exchanged with {other}", edit
    for one, other in permutations(by, 2):
        yield f"{entry}.{one}", f"that of {other}", _put((*place, one), by[other])


def _modes(whole: Data) -> Edits:
    mode = whole["status"].get("mode")
    if mode is None:
        return
    way = "bits" if "bits" in mode else "words"
    yield from _moved(("status", "mode", way), mode[way])
    yield "status.mode", "left out", _put(("status", "mode"), None)
    reading = whole["readings"].get("current") or whole["readings"]["both"]["query"]
    others = [reading, "*STB?", _of(mode["query"], "1"), _of(mode["query"], "2")]
    if trips := whole["status"]["trips"].get("query"):
        others.append(trips)
    for other in others:
        yield "status.mode.query", other, _put(("status", "mode", "query"), other)


def _trips(whole: Data) -> Edits:
    trips = whole["status"]["trips"]
    place = ("status", "trips")
    for way in ("bits", "words", "each"):
        if way in trips:
            yield from _moved((*place, way), trips[way])
    if "words" in trips:
        for name, word in trips["words"].items():
            own = {**trips, "words": {each: w for each, w in trips["words"].items() if each != name}}
            moved = {**own, "nothing": [trips["nothing"], word]}
            yield "status.trips.nothing", f"with that of {name}", _put(place, moved)
            yield f"status.trips.words.{name}", "TRIP", _put((*place, "words", name), "TRIP")
        for nothing in (None, "OK", ["OK", trips["nothing"]], "OVERvoltage"):
            yield "status.trips.nothing", str(nothing or "left out"), _put((*place, "nothing"), nothing)
    if trips.get("told", True):
        yield "status.trips", "told: false", _put(place, {"told": False})
    if "query" in trips:
        own = trips["query"]
        others = ["*STB?", _of(own, "1"), _of(own, "2"), own.replace(":CONDition", "")]
        if whole["status"]["mode"].get("bits"):
            others.append(whole["status"]["mode"]["query"])
        for other in others:
            yield "status.trips.query", other, _put((*place, "query"), other)
    elif "each" not in trips:
        query = "STATus:QUEStionable:INSTrument:ISUMmary1:CONDition?"
        yield "status.trips", "bits", _put(place, {"query": query, "bits": {"OVP": 12}})


def _manner(whole: Data) -> Edits:
    """How commands name their output, and how they go."""
    for other in get_args(Addressing):
        edit = _put(("addressing",), other)
        yield "addressing", other, edit
        for more, value in (("instrument.select", "INSTrument:NSELect"), ("prefix", "INSTrument{channel}:")):
            if (other, more) in (("selected-output", "instrument.select"), ("prefixed", "prefix")):
                added = _both((("addressing",), other), (tuple(more.split(".")), value))
                yield "addressing", f"{other} with its {more}", added
    yield "called", "exchanged", _put(("called",), {1: "2", 2: "1"})
    yield "called", "the other's", _put(("called",), {1: "UNIT2", 2: "UNIT1"})
    yield "called", "a name", _put(("called",), "UNIT{channel}")
    yield "called", "the number", _put(("called",), None)
    if "prefix" in whole:
        for prefix in ("OUTPut{channel}:", "INSTrument{channel}"):
            yield "prefix", prefix, _put(("prefix",), prefix)
    if "select" in whole["instrument"]:
        for select in ("INSTrument:SELect", "INSTrument:NSELect", "INSTrument:STATe"):
            yield "instrument.select", select, _put(("instrument", "select"), select)
        for query in ("INSTrument:SELect?", "INSTrument:NSELect?", "*OPC?", "OUTPut:STATe?"):
            yield "instrument.selected", query, _put(("instrument", "selected"), query)
    for key in ("compound", "list_readings"):
        yield key, "the other", _put((key,), not whole.get(key, False))
    session = whole.get("session", {})
    others: Data = {"sends": "\r", "answers": "\r", "pause": 0.0, "patience": 0.5, "completes": "*STB?"}
    for key, value in others.items():
        yield f"session.{key}", repr(value), _put(("session", key), value)
    for key in session:
        yield f"session.{key}", "left out", _put(("session", key), None)
    begins = session.get("opening", [])
    for other in (
        ["SYSTem:LOCal"],
        ["SYSTem:NOTHing"],
        ["OUTPut:STATe ON"],
        ["*RST"],
        ["NOTHing?"],
        [{"send": "SYSTem:REMote?", "answer": "0"}],
        [*begins, {"send": "SYSTem:VERSion?", "answer": "1998.0"}],
        begins[::-1],
    ):
        yield "session.opening", str(other), _put(("session", "opening"), other)
        yield "session.closing", str(other), _put(("session", "closing"), other)
    yield "session.boot", "0.2", _put(("session", "boot"), 0.2)


def _others(whole: Data) -> Edits:
    instrument = whole["instrument"]
    for key in instrument:
        yield f"instrument.{key}", "left out", _put(("instrument", key), None)
    for key, value in (
        ("identify", "*OPT?"),
        ("identify", "SYSTem:VERSion?"),
        ("clear", "*RST"),
        ("next_error", "SYSTem:ERRor:COUNt?"),
        ("next_error", "*ESR?"),
        ("event_status", "*STB?"),
        ("event_status", "*OPC?"),
    ):
        yield f"instrument.{key}", value, _put(("instrument", key), value)
    clears = ("actions", "clear_trips")
    for other in (None, "ABORt", "*CLS", "OUTPut:STATe"):
        yield "actions.clear_trips", str(other or "left out"), _put(clears, other)
    if "link" in whole:
        for other in (None, "OUTPut:STATe", "SOURce:CURRent:PROTection:STATe"):
            yield "link", str(other or "left out"), _put(("link",), other)
    if "master" in whole:
        for place, other in (
            (("master",), None),
            (("master", "switch"), "OUTPut:STATe"),
            (("master", "switch"), "SYSTem:NOTHing"),
            (("master", "goes_off"), "first" if whole["master"]["goes_off"] == "last" else "last"),
        ):
            yield ".".join(place), str(other or "left out"), _put(place, other)
        for on, off in ((whole["words"]["off"], whole["words"]["on"]), ("MIN", "MAX")):
            written = whole["master"]["switch"]
            own = written if isinstance(written, dict) else {"command": written, "query": f"{written}?"}
            yield (
                "master.switch.on",
                f"{on} and {off}",
                _put(("master", "switch"), {**own, "on": on, "off": off}),
            )
    for part in ("watchdog", "points"):
        own = whole.get(part, {})
        for key in own:
            yield f"{part}.{key}", "left out", _put((part, key), None)
        for one, other in combinations(own, 2):
            edit = _both(((part, one), own[other]), ((part, other), own[one]))
            yield f"{part}.{one}", f"exchanged with {other}", edit
    yield "identification.parted_by", ";", _put(("identification", "parted_by"), ";")
    fields = ["maker", "serial", "model", "version"]
    yield "identification.fields", "in another order", _put(("identification", "fields"), fields)
