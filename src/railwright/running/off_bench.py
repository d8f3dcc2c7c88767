"""What `railwright off` takes from a bench document: addresses, dialects and channels, and nothing else.

Nothing here validates: a mistake elsewhere in the document holds nobody up, and one in a supply only that
supply. Few imports, so that the first OFF is soon on its way.
"""

from __future__ import annotations

import re
import threading
import time
from collections.abc import Iterator, Mapping, Sequence, Set
from contextlib import suppress
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any, NamedTuple

from railwright.dialects.files import DialectFile, dialect_names, find_dialect
from railwright.dialects.harmless import MOST, why_harmful
from railwright.dialects.routes import contact_off
from railwright.dialects.units import CHANNEL, FACTORS, Spoken, query_of_header, with_value
from railwright.dialects.words import off_answers
from railwright.documents.channel_name import channel_named
from railwright.documents.salvage import salvage
from railwright.guard.answers import Code
from railwright.guard.locks import normalised
from railwright.guard.off_level import OFF_BELOW
from railwright.guard.off_plan import InputOff, OffPlan, OutputOff, Place, RelaysOff, SupplyOff
from railwright.guard.session_settings import (
    FlowControl,
    LineSettings,
    Parity,
    SessionCommand,
    SessionSettings,
    questions,
)

_ADDRESS = re.compile(
    r"""^[^#\n]*?\baddress:\s*["']?([^\s"',}#]+::(?:[^\s"',}]|,(?=\d+::))+)""", re.MULTILINE
)

PATIENCE = 0.3
"""How long a name service, or the file of a dialect that is not the package's, is waited for [s]."""

NO_CURRENT = 0.05
"""Current that counts as none [A] where no plan of a run says it."""


NO_SUPPLIES = ("multimeters", "electronic_loads", "relays")
"""Sections of a bench document whose instruments have an address, and no output."""


@dataclass(frozen=True, slots=True)
class BenchOutput:
    """One output of the bench; off: how it is switched off, None where `fault` says why nobody knows."""

    name: str
    supply: str
    off: OutputOff | None
    fault: str = ""


@dataclass(frozen=True, slots=True)
class BenchSupply:
    """One supply of the bench. place: the one spelling of its address, '' where none is known. model, serial:
    as the document has them, '' where it does not; parted_by: what stands between the fields of what a supply
    says that it is, serial_at: which of them is its serial number, from 0, None where none is.
    """

    name: str
    address: str
    place: str
    outputs: tuple[BenchOutput, ...]
    plan: SupplyOff | None = None
    model: str = ""
    serial: str = ""
    parted_by: str = ","
    serial_at: int | None = 2

    def is_other(self, answer: str) -> str:
        """Of what the document has, what an answer to who it is does not say; '' where it says all."""
        parts = [part.strip() for part in answer.split(self.parted_by)]
        given = (("model", self.model), ("serial number", self.serial))
        return " and ".join(f"{what} '{wanted}'" for what, wanted in given if wanted and wanted not in parts)

    def tells_apart(self, answer: str) -> bool:
        """Whether an answer says which instrument of its model it is."""
        parts = [part.strip() for part in answer.split(self.parted_by)]
        at = self.serial_at
        return at is not None and len(parts) > at and parts[at].strip("0-") != ""


def read_bench(text: str, folder: Path) -> tuple[BenchSupply, ...]:
    """The supplies of a bench document that lies in a folder; ValueError where there are none in it."""
    tree = _without_dashes(salvage(text))
    supplies = _without_dashes(tree.get("supplies")) if isinstance(tree, Mapping) else None
    if not isinstance(supplies, Mapping) or not supplies:
        if missed := _missed(text, set()):
            return tuple(missed)
        other = tree.get("bench") if isinstance(tree, Mapping) else None
        named = isinstance(other, str) and other.endswith((".yaml", ".yml"))
        remedy = f"; it names {other[:100]!r}: give that one" if named and isinstance(other, str) else ""
        raise ValueError(f"expected a bench document with 'supplies', got none in it{remedy}")
    found = [
        _supply(str(name), node if isinstance(node, Mapping) else {}, folder)
        for name, node in supplies.items()
    ]
    missed = _missed(text, {each.address for each in found} | _without_outputs(tree))
    places = places_of([each.address for each in found])
    return (*(replace(each, place=places[each.address]) for each in found), *missed)


def _without_dashes(node: Any) -> Any:
    """A mapping whose names, or the first of them, have a dash too many before them: as without."""
    if not isinstance(node, list):
        return node
    return {name: each for entry in node if isinstance(entry, Mapping) for name, each in entry.items()}


def read_relays(text: str) -> tuple[RelaysOff, ...]:
    """The instruments of a bench document that move contacts, as far as they can be read: a contact whose
    channel or rest nobody knows is left out. Which input it is in the bench does not say: it rests on all
    outputs, and none of them is taken to be rated for switching under load. One that drives a pin comes to
    stand as without power: which level makes that inactive the bench does not say.
    """
    tree = salvage(text) if "relays" in text else {}
    bench = tree if isinstance(tree, Mapping) else {}
    outputs = tuple(
        f"{supply}.{own}"
        for supply, node in _entries(bench.get("supplies"))
        for own, _ in _entries(node.get("outputs")) or [("?", {})]
    )
    found = []
    for name, node in _entries(bench.get("relays")):
        address = node.get("address")
        contacts = []
        for own, each in _entries(node.get("contacts")):
            channel, stands = channel_named(str(each.get("channel", "")).strip()), each.get("without_power")
            if channel is not None and stands in ("open", "closed"):
                pin = "?" if each.get("fixture") is None and each.get("closed") is not None else ""
                contacts.append(contact_off(own, channel, str(stands), outputs, False, pin))
        if isinstance(address, str) and address.strip() and contacts:
            visa = node.get("visa")
            library = visa.strip() if isinstance(visa, str) else ""
            settings = SessionSettings(line=_line(node.get("line")), visa=library)
            found.append(RelaysOff(name, address.strip(), "*IDN?", "", tuple(contacts), settings))
    return tuple(found)


def _entries(node: Any) -> list[tuple[str, Mapping[str, Any]]]:
    """The entries of a mapping, each of them one; none where there is none."""
    given = node.items() if isinstance(node, Mapping) else ()
    return [(str(name), each if isinstance(each, Mapping) else {}) for name, each in given]


def _without_outputs(tree: Mapping[str, Any]) -> set[str]:
    """Addresses of instruments that have no output to switch off. A supply that slipped among them in a
    broken document is known by what only a supply has.
    """
    found = set()
    for section in NO_SUPPLIES:
        entries = tree.get(section)
        for node in entries.values() if isinstance(entries, Mapping) else ():
            if isinstance(node, Mapping) and not {"dialect", "outputs"} & node.keys():
                found.add(str(node.get("address", "")).strip())
    return found


def _missed(text: str, there: Set[str]) -> list[BenchSupply]:
    """Addresses that stand in the document and belong to no instrument that could be read in it; there: those
    that do.
    """
    fault = "its address stands in the bench document, but the document is broken near it"
    missed = []
    for address in dict.fromkeys(_ADDRESS.findall(text)):
        if address not in there:
            output = BenchOutput(f"supply at {address[:60]}", "?", None, fault)
            missed.append(BenchSupply("?", address, "", (output,)))
    return missed


def places_of(addresses: Sequence[str]) -> dict[str, str]:
    """Address -> its one spelling. A name service that gives no answer in time holds nobody up."""
    found = {address: address.upper() for address in addresses}

    def look_up(address: str) -> None:
        found[address] = normalised(address)

    threads = [threading.Thread(target=look_up, args=(address,), daemon=True) for address in found]
    last = time.monotonic() + PATIENCE
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(max(0.0, last - time.monotonic()))
    return dict(found)


def concerns(supply: BenchSupply, names: frozenset[str] | None) -> bool:
    """Whether any of these outputs is one of the supply; None: all are."""
    return names is None or any(output.name in names for output in supply.outputs)


def _supply(name: str, node: Mapping[str, Any], folder: Path) -> BenchSupply:
    given, wanted = node.get("address"), node.get("dialect")
    address = given.strip() if isinstance(given, str) else ""
    outputs = node.get("outputs")
    owns = {str(own): each for own, each in outputs.items()} if isinstance(outputs, Mapping) else {}
    dialect = _dialect(wanted.strip(), folder) if isinstance(wanted, str) else None
    fault = ""
    if not address:
        fault = "the bench document gives no address of its supply"
    elif dialect is None:
        known = ", ".join(dialect_names())
        fault = f"expected one of the dialects {known}, or a file of one, got {str(wanted)[:40]!r}"
    channels = {own: _channel(own, each) for own, each in owns.items()}
    numbered = [(own, channel) for own, channel in channels.items() if channel is not None]
    plan: SupplyOff | None = None
    found: dict[str, OutputOff] = {}
    if not fault and dialect is not None:
        try:
            plan, found = _compile(name, address, dialect, numbered)
            plan = replace(plan, session_settings=_session_settings(dialect, node))
        except (KeyError, TypeError, ValueError, AttributeError) as error:
            fault = f"its dialect {str(wanted)[:40]!r} lacks what switches off: {error}"
    made = tuple(
        BenchOutput(f"{name}.{own}", name, found.get(own), fault or _why(own, owns[own], channels[own]))
        for own in owns
    )
    if not made:
        made = (BenchOutput(f"{name}.?", name, None, fault or "the bench document gives no outputs of it"),)
    model, serial = (str(node.get(key) or "").strip() for key in ("model", "serial"))
    identification = dialect.get("identification") if dialect is not None else None
    named = identification if isinstance(identification, Mapping) else {}
    parted, fields = str(named.get("parted_by") or ","), named.get("fields") or ("maker", "model", "serial")
    serial_at = list(fields).index("serial") if "serial" in fields else None
    return BenchSupply(name, address, "", made, plan, model, serial, parted, serial_at)


def _channel(own: str, node: Any) -> int | None:
    """The channel of an output: as written, else its name."""
    written = node.get("channel") if isinstance(node, Mapping) else None
    return channel_named(str(own if written is None else written).strip())


def _why(own: str, node: Any, channel: int | None) -> str:
    return "" if channel is not None else f"no channel is given, and its name {own[:40]!r} is no number"


@cache
def _dialect(written: str, folder: Path) -> Mapping[str, Any] | None:
    """A dialect's file as it stands; a run has validated it. One that is not found in time holds up no other
    supply: another package may give it, whose code is not ours.
    """
    found: list[DialectFile | None] = []

    def look() -> None:
        # Another package's fault is no reason to leave the other supplies on.
        with suppress(Exception):
            found.append(find_dialect(written, folder))

    if written in dialect_names():
        look()
    else:
        thread = threading.Thread(target=look, daemon=True)
        thread.start()
        thread.join(PATIENCE)
    file = found[0] if found else None
    tree = None if file is None else salvage(file.content.decode("utf-8", "replace"))
    return tree if isinstance(tree, Mapping) else None


def _compile(
    name: str, address: str, dialect: Mapping[str, Any], channels: Sequence[tuple[str, int]]
) -> tuple[SupplyOff, dict[str, OutputOff]]:
    """How outputs are switched off and looked at, as the driver does it, without status registers."""
    spoken, switch, master = _spoken(dialect), _switch(dialect), _master(dialect)
    given, quantities = dialect["readings"], (("voltage", "V"), ("current", "A"))
    volt, ampere = (FACTORS[given.get(f"{each}_unit", one)] for each, one in quantities)
    look = _look(dialect, spoken, switch, master, channels)
    outputs = {}
    for own, channel in channels:
        off = spoken.unit(switch.command, [channel], switch.off)
        state, voltage, current, selected = look.places[own]
        outputs[own] = OutputOff(
            f"{name}.{own}",
            name,
            spoken.messages([*spoken.selecting(channel), off]),
            state,
            voltage,
            current,
            NO_CURRENT,
            off_answers(switch.off, switch.answers),
            volt=volt,
            ampere=ampere,
            volt_code=_code(given.get("voltage"), volt),
            ampere_code=_code(given.get("current"), ampere),
            selected=selected,
            selected_as=spoken.name(channel) if selected else "",
        )
    identify = dialect["instrument"]["identify"]
    plan = SupplyOff(name, address, identify, "", spoken.messages(look.units))
    if master is not None and channels:
        plan = replace(
            plan,
            master=(with_value(master.command, master.off),),
            master_state=look.master,
            master_off=off_answers(master.off, master.answers),
            master_first=dialect["master"].get("goes_off") == "first",
        )
    return plan, outputs


class _Look(NamedTuple):
    """What is asked of outputs; where of each the answers say its state, voltage and current, and which
    output was selected then, None where they do not; where they say the master switch.
    """

    units: list[str]
    places: dict[str, tuple[Place, Place, Place, Place | None]]
    master: Place


def _look(
    dialect: Mapping[str, Any],
    spoken: Spoken,
    switch: _Switch,
    master: _Switch | None,
    channels: Sequence[tuple[str, int]],
) -> _Look:
    """What answers several of state, voltage and current, or those of all outputs, is asked once."""
    asked_of = [_Asked(switch.query, switch.field), *_readings(dialect["readings"])]
    selected = _selected(dialect)
    for_all = {each.query for each in asked_of if each.for_all}
    groups = [channels] if dialect.get("list_readings") == "true" else [[each] for each in channels]
    found, shared, answer = _Look([], {}, (0, 0)), dict[str, int](), 0
    for group in groups if channels else ():
        numbers = [channel for _, channel in group]
        queries = dict.fromkeys(each.query for each in asked_of if each.query not in shared)
        at = {**shared, **{query: answer + number for number, query in enumerate(queries)}}
        answer, shared = answer + len(queries), {query: at[query] for query in for_all}
        units = [query if query in for_all else spoken.unit(query, numbers) for query in queries]
        found.units.extend([*spoken.selecting(numbers[0]), *units] if units else [])
        if master is not None and group == groups[-1]:
            found.units.append(master.query)
            found, answer = found._replace(master=(answer, 0)), answer + 1
        check = (answer, 0) if selected and units else None
        if check is not None:
            found.units.append(selected)
            answer += 1
        for position, (own, channel) in enumerate(group):
            state, voltage, current = ((at[e.query], e.field_at(channel) + position) for e in asked_of)
            found.places[own] = state, voltage, current, check
    return found


def _session_settings(dialect: Mapping[str, Any], node: Mapping[str, Any]) -> SessionSettings:
    """How it is spoken to, as `Supply.session_settings` has it."""
    session = dialect.get("session", {})
    sends, answers = (str(session.get(key, "\n")) for key in ("sends", "answers"))
    pause, patience, boot = (float(session.get(key, 0.0)) for key in ("pause", "patience", "boot"))
    apart = str(session.get("parted_by") or ",")
    own = tuple(_own_commands(dialect))
    opening, closing = (_commands(session.get(key), own) for key in ("opening", "closing"))
    visa = node.get("visa")
    library = visa.strip() if isinstance(visa, str) else ""
    line = _line(node.get("line"))
    return SessionSettings(sends, answers, pause, patience, line, library, boot, opening, closing, apart)


def _commands(written: Any, own: Sequence[tuple[str, str]]) -> tuple[SessionCommand, ...]:
    """What a session begins or ends with. What cannot be read of it holds up nobody, and what could change an
    output is left out: nobody has checked this file since it was written. What nobody vouches for is sent: a
    supply may take OFF only after it.
    """
    found = []
    for each in written if isinstance(written, list) else ():
        entry = each if isinstance(each, Mapping) else {"send": each}
        text = entry.get("send")
        if isinstance(text, str) and not why_harmful(text, own, vouched=True):
            found.append(SessionCommand(text, str(entry.get("answer", ""))))
    return tuple(found[:MOST])


def _own_commands(node: Any, name: str = "") -> Iterator[tuple[str, str]]:
    """Every text below a part of a dialect's file that may be the header of a command, by its key."""
    if isinstance(node, Mapping):
        for key, each in node.items():
            if name or key not in ("session", "dialect", "addressing", "words", "called"):
                yield from _own_commands(each, str(key))
    elif isinstance(node, str) and node[:1].isalpha():
        yield name, node


def _line(node: Any) -> LineSettings:
    """The serial line as it is written; what cannot be read of it is as usual."""
    usual = LineSettings()
    given = node if isinstance(node, Mapping) else {}
    numbers = {}
    for key in ("baud", "data_bits", "stop_bits"):
        written = str(given.get(key, "")).strip()
        numbers[key] = int(written) if written.isdecimal() else getattr(usual, key)
    parities: dict[Any, Parity] = {"even": "even", "odd": "odd"}
    flows: dict[Any, FlowControl] = {"hardware": "hardware", "software": "software"}
    return LineSettings(
        **numbers,
        parity=parities.get(str(given.get("parity")), usual.parity),
        flow_control=flows.get(str(given.get("flow_control")), usual.flow_control),
    )


def _spoken(dialect: Mapping[str, Any]) -> Spoken:
    """How its commands name their output, as `Dialect.spoken` has it."""
    called = dialect.get("called", CHANNEL)
    if isinstance(called, Mapping):
        called = {int(channel): str(name) for channel, name in called.items()}
    select, prefix = dialect["instrument"].get("select", ""), dialect.get("prefix", "")
    session = dialect.get("session", {})
    longest = max(0, _counted(session.get("longest"), 0) - len(str(session.get("sends", "\n"))))
    return Spoken(dialect["addressing"], dialect["compound"] == "true", select, prefix, called, longest)


NO_CODE = Code(1.0, 0.0, 0, -1)
"""A code of which no answer is one."""


class _Switch(NamedTuple):
    """The command and the query of an output's switch, the word that switches it off, in which field of the
    answer it stands, from 0, and what it answers where it is off, where that is nothing else.
    """

    command: str
    query: str
    off: str
    field: int | Mapping[str, Any] = 0
    answers: Sequence[str] = ()


@dataclass(frozen=True, slots=True)
class _Asked:
    """A query, and which of the fields of its answer is meant, from 0, or from 1 by channel where it is
    answered for all outputs.
    """

    query: str
    field: int | Mapping[str, Any] = 0

    @property
    def for_all(self) -> bool:
        """Whether it is answered for all outputs, and sent as it stands."""
        return isinstance(self.field, Mapping)

    def field_at(self, channel: int) -> int:
        """Which field is that of an output; none that an answer has where that is not said: OFF does not
        hang on it.
        """
        return self.field if isinstance(self.field, int) else _counted(self.field.get(str(channel)), 99) - 1


def _readings(readings: Mapping[str, Any]) -> tuple[_Asked, _Asked]:
    """What answers voltage and current."""
    both = readings.get("both")
    if both is not None:
        named = both.get("fields") or ["voltage", "current"]
        return _Asked(both["query"], named.index("voltage")), _Asked(both["query"], named.index("current"))
    voltage, current = (
        _Asked(given) if isinstance(given, str) else _Asked(given["query"], _field(given.get("field")))
        for given in (readings["voltage"], readings["current"])
    )
    return voltage, current


def _selected(dialect: Mapping[str, Any]) -> str:
    """What asks which output is selected; '' where nothing does."""
    return str(dialect["instrument"].get("selected") or "")


def _field(written: Any) -> int | Mapping[str, Any]:
    """Which field of an answer: from 0, or as it stands where it is that of each output."""
    return written if isinstance(written, Mapping) else _counted(written, 1) - 1


def _code(reading: Any, factor: float) -> Code | None:
    """The code of a reading. factor: what one of its unit is. One that cannot be read is none: no output is
    read to be off by it, and OFF does not hang on it.
    """
    given = reading.get("code") if isinstance(reading, Mapping) else None
    if given is None:
        return None
    with suppress(KeyError, TypeError, ValueError, AttributeError):
        scale, offset = float(given["scale"]) * factor, float(given.get("offset", 0.0)) * factor
        return Code(scale, offset, int(given.get("lowest", 0)), int(given["highest"]))
    return NO_CODE


def _switch(dialect: Mapping[str, Any]) -> _Switch:
    """That of an output."""
    return _as_operation(dialect["settings"]["output"], dialect["words"]["off"])


def _master(dialect: Mapping[str, Any]) -> _Switch | None:
    """That over all outputs; one that cannot be read holds up no output's own."""
    with suppress(KeyError, TypeError, AttributeError):
        return _as_operation(dialect["master"]["switch"], dialect["words"]["off"])
    return None


def _counted(written: Any, usual: int) -> int:
    """A number from 1 on; what is none is as usual: OFF does not hang on it."""
    text = str(written).strip()
    return max(1, int(text)) if text.isdecimal() else usual


def _as_operation(written: Any, off: str) -> _Switch:
    """As `Operation` reads it: a header alone, or a command and a query with words of their own."""
    if isinstance(written, str):
        return _Switch(written, query_of_header(written), off)
    field = _field(written.get("field"))
    answers = written.get("answers_off") or ()
    answers = [answers] if isinstance(answers, str) else [each for each in answers if isinstance(each, str)]
    return _Switch(written["command"], written["query"], written.get("off", off), field, answers)


def plan_of(supplies: Sequence[BenchSupply], names: frozenset[str]) -> OffPlan:
    """These outputs of the bench, all at once. A master switch goes off with all outputs of its supply."""
    wanted = [each.off for supply in supplies for each in supply.outputs if each.name in names]
    inputs = tuple(
        InputOff(output.name, (output,), False, OFF_BELOW) for output in wanted if output is not None
    )
    used = {output.supply for each in inputs for output in each.outputs}
    plans = []
    for supply in supplies:
        if supply.plan is not None and supply.name in used:
            whole = all(each.name in names for each in supply.outputs)
            plans.append(supply.plan if whole else _without_master(supply.plan))
    return OffPlan(tuple(plans), inputs)


def _without_master(plan: SupplyOff) -> SupplyOff:
    """The same, which leaves the master switch as it is: others of its outputs are not to go off."""
    return replace(plan, master=(), master_first=False)


def places_in(plan: OffPlan, supplies: Sequence[BenchSupply]) -> dict[str, SupplyOff]:
    """The supplies of a plan by the one spelling of their addresses, which is looked up only where the bench
    does not give an address in the same words.
    """
    known = {supply.address: supply.place for supply in supplies}
    others = places_of([each.address for each in plan.supplies if each.address not in known])
    return {{**known, **others}[each.address]: each for each in plan.supplies}


@dataclass(frozen=True, slots=True)
class Planned:
    """What switches an output of the bench off in a run's plan: the input, and the plan's name for it."""

    input: str
    output: str
    stays_on: str


def covered(plan: OffPlan, supplies: Sequence[BenchSupply]) -> dict[str, Planned]:
    """Outputs of the bench that a run's plan switches off. What counts is what is sent where, not names."""
    places = {supply.name: place for place, supply in places_in(plan, supplies).items()}
    sent = {
        (places.get(output.supply), output.off): Planned(each.name, output.name, each.stays_on)
        for each in plan.inputs
        for output in each.outputs
    }
    found = {}
    for supply in supplies:
        for output in supply.outputs:
            planned = sent.get((supply.place, output.off.off)) if output.off is not None else None
            if planned is not None:
                found[output.name] = planned
    return found


def joined(plan: OffPlan, supplies: Sequence[BenchSupply], names: frozenset[str]) -> OffPlan:
    """A run's plan with further outputs of the bench, at supplies that it has; each without an order.

    Whoever answers at an address counts as the supply, whatever it answered before.
    """
    more = plan_of(supplies, names)
    places, own_places = places_in(plan, supplies), {each.name: each.place for each in supplies}
    looks = {supply.name: supply.look for supply in plan.supplies}
    inputs = list(plan.inputs)
    for each in more.inputs:
        (output,) = each.outputs
        own = more.supply(output.supply)
        there = places[own_places[own.name]]
        before = sum(map(questions, there.look))
        looks[there.name] = there.look + own.look
        moved = replace(
            output,
            supply=there.name,
            state=_further(output.state, before),
            voltage=_further(output.voltage, before),
            current=_further(output.current, before),
        )
        inputs.append(replace(each, outputs=(moved,)))
    changed = tuple(replace(supply, look=looks[supply.name], identity="") for supply in plan.supplies)
    return replace(plan, supplies=changed, inputs=tuple(inputs))


def _further(place: Place, answers: int) -> Place:
    return place[0] + answers, place[1]


def only(plan: OffPlan, outputs: frozenset[str]) -> OffPlan:
    """The part of a run's plan that switches these outputs off, and nothing that stays on; order only among
    them. Outputs go by their names in the plan. The watchdog
    and the master switch of a supply with further outputs stay as they are.
    """
    inputs: list[InputOff] = []
    for each in plan.inputs:
        mine = tuple(output for output in each.outputs if output.name in outputs)
        if not mine:
            continue
        if len(mine) == len(each.outputs):
            inputs.append(replace(each, stays_on=""))
        else:
            inputs += [
                replace(each, name=output.name, outputs=(output,), series=False, stays_on="")
                for output in mine
            ]
    names = {each.name for each in inputs}
    inputs = [
        replace(
            each,
            after=tuple(other for other in each.after if other in names),
            only_after=tuple(other for other in each.only_after if other in names),
        )
        for each in inputs
    ]
    used = {output.supply for each in inputs for output in each.outputs}
    further = {o.supply for each in plan.inputs for o in each.outputs if o.name not in outputs}
    supplies = tuple(
        replace(_without_master(each), watchdog=()) if each.name in further else each
        for each in plan.supplies
        if each.name in used
    )
    relays = [
        replace(each, contacts=tuple(own for own in each.contacts if names.issuperset(own.inputs)))
        for each in plan.relays
    ]
    kept = tuple(each for each in relays if each.contacts)
    return replace(plan, supplies=supplies, inputs=tuple(inputs), relays=kept)


def left_out(plan: OffPlan, outputs: frozenset[str]) -> list[tuple[str, tuple[str, ...]]]:
    """Inputs of which an output is chosen, with those that a run's plan wants off before and that are not."""
    chosen = {each.name for each in plan.inputs if any(output.name in outputs for output in each.outputs)}
    known = {each.name for each in plan.inputs}
    found = [
        (each.name, tuple(other for other in each.only_after if other in known - chosen))
        for each in plan.inputs
        if each.name in chosen
    ]
    return [(name, others) for name, others in found if others]
