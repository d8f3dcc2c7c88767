"""A supply that shares nothing with ours, whose outputs are named among the parameters and which says all of
one in one answer: its dialect alone is enough. Proved, run, stopped and switched off, in virtual time.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from contextlib import nullcontext
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from tests.bench import replaced
from tests.instruments.stated_supply import DIALECT, StatedSupply
from tests.running import stage

from railwright.documents.dialect_files import read_dialect
from railwright.documents.loader import load_documents
from railwright.documents.output_name import OutputName
from railwright.guard.input_end import InputEnd
from railwright.guard.local_link import LocalLink
from railwright.guard.off import SwitchOff
from railwright.guard.session import Session
from railwright.guard.session_settings import SessionSettings
from railwright.instruments.errors import InstrumentError
from railwright.instruments.guarded import open_guarded
from railwright.instruments.provoking import Connected, Provocation
from railwright.instruments.supply import OutputSetting, SupplyDriver
from railwright.instruments.trying import DialectTrial, Tried
from railwright.plan.set_points import Feed, OutputSetPoints
from railwright.records.ended import Ended
from railwright.running.interruption import StopRequest
from railwright.running.off_bench import plan_of, read_bench
from railwright.running.outcome import RunOutcome
from railwright.running.provoke import ITS_OUTPUT, bare_supply, provoke
from railwright.running.runner import run
from railwright.virtual_time import VirtualLoop, memory_streams

OUTPUT = replaced(
    stage.OUTPUT,
    ("current: 0 A ..", "current: 0.01 A .."),
    (", power: 60 W", ""),
    ("38 V", "40 V"),
    ("1 ms .. 5 s", "100 ms .. 100 ms"),
)
BENCH = """\
bench: Quay bench
location: dry
ambient: 23 °C
supplies:
  quay:
    address: TCPIP::127.0.0.1::5025::SOCKET
    dialect: stated
    outputs: {1: OUTPUT, 2: {same_as: 1}}
leads:
  pair: {conductor: AWG 18, one_way_length: 1 m}
""".replace("OUTPUT", OUTPUT)
DEVICE = """\
device: Lamp and logger of the tide gauge
inputs:
  main: {nominal: 12 V, operating: 9 V .. 15 V, return: isolated, load: [{resistor: {resistance: 24 ohm}}]}
  lamp: {nominal: 6 V, operating: 5 V .. 8 V, return: isolated, load: [{resistor: {resistance: 24 ohm}}]}
"""
PROCEDURE = (
    stage.wired(
        "Two inputs",
        main=("quay.1", "pair", "current_limit: 1 A, at_limit: trip, trip_delay: 100 ms, ovp: 18 V"),
        lamp=("quay.2", "pair", "current_limit: 1 A, at_limit: trip, trip_delay: 100 ms, ovp: 10 V"),
    )
    + """\
steps:
  - power_up: {order: [main, lamp], gap: 50 ms, settle: 100 ms}
  - hold: 1.5 s
    name: steady
  - sweep: {input: main, from: 9 V, to: 12 V, points: 3, dwell: 100 ms}
  - power_down: {order: [lamp, main], gap: 50 ms}
record: {every: 50 ms}
overrides: [{finding: dialect-unproved, about: quay, because: it is a test}]
"""
)
FEEDS = {
    name: Feed(
        name,
        "alone",
        (OutputSetPoints(OutputName(output), 1.0, "trip", 0.1, ovp),),
        "pair",
        "at terminals",
        (),
    )
    for name, output, ovp in (("main", "quay.1", 18.0), ("lamp", "quay.2", 10.0))
}
STATED = ('query: "LAMP {channel}?"', 'query: "STAT?", field: 1')
BY_MODE = (STATED[0], 'query: "STAT?", field: 2, answers_on: [CV, CC], answers_off: "NO"')
"""Where an output says that it is on: in a field, or by what regulates."""
APART = {
    "commas": (",", ()),
    "semicolons": (";", (("compound: true", "compound: false\nsession: {parted_by: ;}"),)),
    "blanks": (" ", (("compound: true", 'compound: true\nsession: {parted_by: " "}'),)),
}
"""What parts the fields of an answer, and how the dialect says so."""


class Quay:
    """The supply, and a loop and a guard that reach it. edits: of its dialect."""

    def __init__(self, *edits: tuple[str, str], **supply: Any) -> None:
        self.loop = VirtualLoop()
        self.supply = StatedSupply(clock=self.loop.time, **supply)
        self.text = replaced(DIALECT, *edits)
        self.link = LocalLink(self.loop, self.connect)
        self.stop = StopRequest()

    async def connect(self, _address: str, _settings: SessionSettings) -> Any:
        near, far = memory_streams(self.loop)
        self.loop.create_task(self.supply.serve(*far))
        return near

    def documents(self, folder: Path, procedure: str = PROCEDURE) -> Any:
        (folder / "stated.dialect.yaml").write_text(self.text, "utf-8")
        (folder / "quay.bench.yaml").write_text(BENCH, "utf-8")
        (folder / "piece.device.yaml").write_text(DEVICE, "utf-8")
        (folder / "p.procedure.yaml").write_text(procedure, "utf-8")
        return load_documents(folder / "p.procedure.yaml")

    def run(self, folder: Path, feeds: dict[str, Feed] = FEEDS, **options: Any) -> RunOutcome:
        given = {"unit": "U-1", "operator": "A. Keeper", "timeout": 1.0, "wait_for_lost": 3.0, **options}
        documents = self.documents(folder)
        return run(
            documents, feeds, link=self.link, stop=self.stop, folder=folder / "run", decay_limit=2.0, **given
        )

    def at(self, time: float, act: Callable[[], object]) -> None:
        self.loop.call_at(self.loop.time() + time, act)

    def provoke(self, connected: Connected, channel: int = 1) -> dict[str, Provocation]:
        for output in self.supply.outputs.values():
            output.resistance = math.inf if connected == "open" else 0.5
        dialect = read_dialect(self.text, "stated.dialect.yaml")
        document = bare_supply(dialect, "quay", channel, 3.0, 0.1)
        driver = SupplyDriver("quay", document, open_guarded(self.link))
        driver.connect()
        driver.identify()
        found = provoke(self.link, driver, ITS_OUTPUT, connected, voltage=3.0, current=0.1)
        assert found.not_confirmed == ""
        return {each.provoked: each for each in found.seen}

    def tried(self, *, change: bool = False) -> list[Tried]:
        dialect = read_dialect(self.text, "stated.dialect.yaml")
        trial = DialectTrial(dialect, "quay", 2, open_guarded(self.link), sleep=self.link.sleep)
        trial.connect()
        return [*trial.questions(), *(trial.changes() if change else ())]

    @property
    def messages(self) -> list[str]:
        return [message for _, message in self.supply.took]

    @property
    def is_off(self) -> bool:
        return not any(output.on for output in self.supply.outputs.values())


def quay(apart: str, *edits: tuple[str, str], **supply: Any) -> Quay:
    sign, own = APART[apart]
    return Quay(*own, *edits, apart=sign, **supply)


@pytest.mark.parametrize("apart", APART)
@pytest.mark.parametrize("channel", [1, 2])
@pytest.mark.parametrize("by_mode", [False, True])
def test_it_is_proved_by_its_dialect_alone(apart: str, channel: int, by_mode: bool) -> None:
    for connected in ("open", "overloaded"):
        made = quay(apart, *([BY_MODE] if by_mode else []))
        found = made.provoke(connected, channel)  # type: ignore[arg-type]
        wanted = {"on", "CV", "OVP", "off"} if connected == "open" else {"CC", "current limit"}
        assert set(found) == wanted
        assert not [each for each in found.values() if each.wrong]
        assert made.is_off
        assert made.supply.highest == 3.0
        assert made.supply.errors == []
        other = made.supply.outputs["B" if channel == 1 else "A"]
        assert (other.volts, other.over) == (0.0, 40.0)


@pytest.mark.parametrize(
    ("wrong", "right", "fails"),
    [
        ("field: 2, words: {CV: CV", "field: 1, words: {CV: CV", {"CV"}),
        ("field: 5, words: {OVP", "field: 1, words: {OVP", {"CV"}),
        ('OVP: "1", current limit: "2"', 'OVP: "2", current limit: "1"', {"OVP"}),
        ("other, other, voltage, current", "other, other, current, voltage", {"on", "CV", "off", "OVP"}),
    ],
)
def test_a_field_that_is_another_one_is_found(wrong: str, right: str, fails: set[str]) -> None:
    made = Quay((wrong, right))
    found = made.provoke("open")
    assert {name for name, each in found.items() if each.wrong} >= fails
    assert made.is_off


def test_a_look_asks_once_what_one_answer_says() -> None:
    made = Quay()
    document = bare_supply(read_dialect(made.text, "x"), "quay", 2, 3.0, 0.1)
    driver = SupplyDriver("quay", document, open_guarded(made.link))
    assert driver.look([ITS_OUTPUT]) == ("LAMP B?;:STAT? B",)
    places = driver.places([ITS_OUTPUT])[ITS_OUTPUT]
    assert places == {"state": (0, 0), "voltage": (1, 2), "current": (1, 3)}


@pytest.mark.parametrize("apart", APART)
@pytest.mark.parametrize("edits", [(), (STATED,), (BY_MODE,)])
def test_a_run_on_it_is_completed(tmp_path: Path, apart: str, edits: tuple[tuple[str, str], ...]) -> None:
    made = quay(apart, *edits)
    outcome = made.run(tmp_path)
    assert (outcome.ended, outcome.off_confirmed) == (Ended.COMPLETED, True), outcome.cause
    assert made.is_off
    assert made.supply.errors == []
    entered = [each.subject for each in outcome.record.events if each.what == "enters CV"]
    assert sorted(set(entered)) == ["lamp", "main"]
    for name, volts in (("main", 12.0), ("lamp", 6.0)):
        columns = outcome.record.traces[name].columns
        assert columns["terminal_voltage"].max() == pytest.approx(volts, abs=1e-3)
        assert columns["current"].max() == pytest.approx(volts / 24.0, abs=1e-3)


@pytest.mark.parametrize("apart", APART)
def test_a_run_on_it_is_stopped_half_way(tmp_path: Path, apart: str) -> None:
    made = quay(apart, STATED)
    made.at(1.2, lambda: made.stop.request("a person"))
    outcome = made.run(tmp_path)
    assert (outcome.ended, outcome.off_confirmed) == (Ended.INTERRUPTED, True), outcome.cause
    assert made.is_off


WOKE = 'power_on: {query: "WOKE?", words: "YES", nothing: "NO"}'
TELLS = {
    "a word": WOKE,
    "a bit": 'power_on: {query: "REG?", bit: 3, clear: REGCLR}',
    "a field": 'power_on: {query: "WOKE?", field: 1, words: "YES", nothing: ["NO", "NONE"]}',
}
"""By what the supply tells that its mains came back."""


@pytest.mark.parametrize("deep", [1, 2, 30])
@pytest.mark.parametrize("ends", [True, False])
def test_a_level_that_is_refused_while_it_is_on_has_it_off_before_errors_are_read(
    deep: int, ends: bool
) -> None:
    """Once its OVP cannot be made to act either way, it goes off; what is left of the queue is read then."""
    made = Quay(deep=deep, ends=ends, refuses="OVER A,1.5")
    # No answer comes to a message that was refused where an error ends it.
    with pytest.raises(InstrumentError, match="no whole answer") if ends else nullcontext():
        found = made.provoke("open")
        assert "-100" in found["OVP"].wrong
        assert not [name for name, each in found.items() if each.wrong and name != "OVP"]
    assert made.is_off
    first = next(n for n, message in enumerate(made.messages) if "OVER A,1.5" in message)
    until_off = made.messages[first:][: [("LAMP A,0" in m) for m in made.messages[first:]].index(True)]
    assert "FAULT?" not in until_off
    assert made.supply.errors == [] or ends


@pytest.mark.parametrize("tells", TELLS)
@pytest.mark.parametrize("restarts", [True, False])
def test_a_supply_that_lost_its_mains_for_a_moment_ends_the_run(
    tmp_path: Path, tells: str, restarts: bool
) -> None:
    """It comes back as it was, and nothing else tells it."""
    made = Quay((WOKE, TELLS[tells]))
    if restarts:
        made.at(1.2, made.supply.restart)
    outcome = made.run(tmp_path)
    wanted = Ended.INSTRUMENT if restarts else Ended.COMPLETED
    assert (outcome.ended, outcome.off_confirmed) == (wanted, True), outcome.cause
    assert ("restarted" in outcome.cause) is restarts
    asked = TELLS[tells].split('"')[1]
    assert f"'{asked}'" in outcome.cause or not restarts
    assert made.is_off


def test_one_that_goes_on_telling_it_is_refused_before_anything_is_on(tmp_path: Path) -> None:
    made = Quay((WOKE, 'power_on: {query: "REG?", bit: 3}'))
    outcome = made.run(tmp_path)
    assert (outcome.ended, outcome.energised) == (Ended.INSTRUMENT, False)
    assert "REG?" in outcome.cause


def test_a_try_shows_what_tells_that_the_power_came_on() -> None:
    made = Quay()
    first, second = ({each.operation: each for each in made.tried()}["power"] for _ in range(2))
    assert (first.answer, second.answer) == ("YES", "NO")
    assert first.means != second.means
    wrong = Quay((WOKE, 'power_on: {query: "WOKE?", words: "1", nothing: "0"}'))
    assert {each.operation: each for each in wrong.tried()}["power"].wrong != ""


@pytest.mark.parametrize(
    ("stands", "most", "highest", "shown"),
    [(0.0, 36.0, 1.0, True), (0.05, 36.0, 1.0, True), (7.5, 36.0, 7.5, True), (0.0, 0.5, 0.0, False)],
)
def test_a_set_point_at_its_lowest_is_changed_by_little(
    stands: float, most: float, highest: float, shown: bool
) -> None:
    """At an output that is off; and where the supply does not take it, that nothing is shown is said."""
    made = Quay(most=most)
    output = made.supply.outputs["B"]
    output.volts, made.supply.highest = stands, stands
    rows = made.tried(change=True)
    assert not [each for each in rows if each.wrong]
    volts = [each for each in rows if each.operation == "set voltage"]
    assert [each.stood_so for each in volts][-1] is not shown
    assert made.supply.highest == highest
    assert (output.volts, output.on) == (stands, False)
    assert output.amperes == 0.01
    assert len(volts) == (2 if stands < 1.0 else 1)
    if not shown:
        assert "Command error" in volts[0].means
        assert volts[0].answer == ""


def test_a_command_that_does_nothing_is_found_also_at_its_lowest() -> None:
    made = Quay(("  voltage: VOLT\n", '  voltage: {command: "IDLE", query: "VOLT?"}\n'))
    (wrong,) = (each for each in made.tried(change=True) if each.wrong)
    assert (wrong.operation, wrong.answer) == ("set voltage", "0.000")


SHORT = ("compound: true", "compound: true\nsession: {longest: 40}")


@pytest.mark.parametrize("longest", [24, 32, 40])
def test_a_message_is_never_longer_than_it_takes(tmp_path: Path, longest: int) -> None:
    """It is sent in parts: a run, and what switches off without one."""
    made = Quay(SHORT, STATED, (": 40}", f": {longest}}}"), takes=longest)
    outcome = made.run(tmp_path)
    assert (outcome.ended, outcome.off_confirmed) == (Ended.COMPLETED, True), outcome.cause
    assert made.supply.errors == []
    lengths = [len(message) + 1 for message in made.messages]
    assert 0.7 * longest < max(lengths) <= longest
    # Without it, the supply would have lost some.
    assert any(len(message) + 1 > longest for message in _messages(tmp_path / "other"))


def _messages(folder: Path) -> list[str]:
    folder.mkdir()
    made = Quay(STATED)
    made.run(folder)
    return made.messages


@pytest.mark.parametrize(("output", "trip"), [("A", "OVP"), ("B", "current limit")])
def test_a_trip_in_a_field_ends_the_run_by_its_name(tmp_path: Path, output: str, trip: str) -> None:
    made = Quay(STATED)

    def trips() -> None:
        own = made.supply.outputs[output]
        own.on, own.tripped = False, {"OVP": 1, "current limit": 2}[trip]

    made.at(1.2, trips)
    outcome = made.run(tmp_path)
    assert (outcome.ended, outcome.off_confirmed) == (Ended.TRIPPED, True), outcome.cause
    assert trip in outcome.cause
    assert made.is_off


@pytest.mark.parametrize("longest", [None, 24])
@pytest.mark.parametrize("apart", ["commas", "semicolons"])
@pytest.mark.parametrize("edits", [(), (STATED,), (BY_MODE,)])
def test_two_readers_of_its_dialect_say_the_same(
    tmp_path: Path, apart: str, longest: int | None, edits: tuple[tuple[str, str], ...]
) -> None:
    """`railwright off` takes the file as plain text, the driver as a validated model."""
    made = quay(apart, *edits)
    if longest is not None:
        if apart == "commas":
            made.text = replaced(made.text, ("compound: true", "compound: true\nsession: {longest: 24}"))
        else:
            made.text = replaced(made.text, ("session: {", "session: {longest: 24, "))
    bench = made.documents(tmp_path).bench
    driver = SupplyDriver("quay", bench.supplies["quay"], open_guarded(made.link))
    (supply,) = read_bench(BENCH, tmp_path)
    assert supply.plan is not None
    assert supply.plan.session_settings == driver.dialect.session_settings
    assert supply.plan.look == driver.look(("1", "2"))
    for output in supply.outputs:
        own = output.name.partition(".")[2]
        off, places = output.off, driver.places(("1", "2"))[own]
        assert off is not None
        assert off.off == driver.told([OutputSetting(own, "output", False)])
        assert {"state": off.state, "voltage": off.voltage, "current": off.current} == places


@pytest.mark.parametrize(
    ("right", "wrong", "confirmed"),
    [
        ("compound: true", "compound: true\nsession: {longest: many}", True),
        ("compound: true", "compound: true\nsession: {longest: 1}", True),
        ("compound: true", "compound: true\nsession: {parted_by: [1, 2]}", True),
        (STATED[0], 'query: "STAT?", field: first', True),
        (STATED[0], 'query: "STAT?", field: 0', True),
        (STATED[0], 'query: "STAT?", field: 9', False),
        (STATED[0], 'query: "STAT?", field: 2, answers_off: {a: b}', False),
        (STATED[0], 'query: "STAT?", field: 2, answers_off: [[NO], "NO"]', True),
    ],
)
def test_a_mistake_in_what_is_new_keeps_no_off_back(
    tmp_path: Path, right: str, wrong: str, confirmed: bool
) -> None:
    ends, made = switched_off(Quay((right, wrong)), tmp_path)
    assert made.is_off
    assert {end.confirmed for end in ends.values()} == {confirmed}
    assert all("9 fields" in end.why for end in ends.values()) is ("field: 9" in wrong)


@pytest.mark.parametrize("apart", APART)
@pytest.mark.parametrize("edits", [(), (STATED,), (BY_MODE,)])
def test_what_switches_off_without_a_run_reads_it_to_be_off(
    tmp_path: Path, apart: str, edits: tuple[tuple[str, str], ...]
) -> None:
    ends, made = switched_off(quay(apart, *edits), tmp_path)
    assert [end.confirmed for end in ends.values()] == [True, True], ends
    assert made.is_off
    assert made.messages[0].startswith("LAMP A,0")


def switched_off(made: Quay, folder: Path) -> tuple[dict[str, InputEnd], Quay]:
    """By the files alone, while both are on: what became of each."""
    for name, text in (("stated.dialect.yaml", made.text), ("quay.bench.yaml", BENCH)):
        (folder / name).write_text(text, "utf-8")
    for output in made.supply.outputs.values():
        output.on, output.volts, output.amperes = True, 12.0, 2.0
    (supply,) = read_bench(BENCH, folder)
    plan = replace(plan_of([supply], frozenset({"quay.1", "quay.2"})), decay=1.0, lost=1.0)

    async def go() -> dict[str, InputEnd]:
        session = Session("quay", "quay", made.connect, plan.supplies[0].session_settings)
        return await SwitchOff(plan, {"quay": session}, lambda what, fields: None).go()

    return made.loop.complete(go()), made
