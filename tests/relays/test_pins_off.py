"""`railwright off` on a bench that drives pins, what is said of them, and a unit on a serial line."""

from __future__ import annotations

import asyncio
from pathlib import Path

import pytest
from tests.guard.supplies import FakeOutput, FakeSupply
from tests.guard.test_resting import FakeRelays, play
from tests.multimeter.station import network_of
from tests.relays.pins import DRIVEN, HIGH, LOW, PUSHES, SINKS, documents
from tests.relays.station import LEFT, RELAYS, RIGHT, run_of
from tests.relays.station import documents as with_a_gate
from tests.said import says

from railwright.dialects.routes import contact_off
from railwright.documents.loader import load_documents
from railwright.guard.off_plan import OffPlan
from railwright.records.ended import Ended
from railwright.report.contact_words import contact_words, contacts_first, contacts_last
from railwright.running import off_now
from railwright.running.off_bench import read_bench, read_relays
from railwright.running.off_now import OffNow
from railwright.traces import EventKind

ENABLE = contact_off("enable", 1, "open", ("main",), under_load=False, pin="run")
GATE = contact_off("gate", 2, "open", ("main",), under_load=False)


@pytest.mark.parametrize("output", [FakeOutput(), FakeOutput(ignores=10_000)], ids=["off", "stays on"])
def test_a_pin_goes_inactive_at_once_and_a_lead_waits(output: FakeOutput) -> None:
    """Also beside an output that will not go off: there it is all that can be done."""
    relays, left = FakeRelays({1: True, 2: True}), FakeSupply([output])
    found = play(relays, (ENABLE, GATE), left)
    moved = {line: at for at, line in relays.took if "?" not in line and "ROUTe" in line}
    assert moved["ROUTe:OPEN (@1)"] < 0.05
    assert moved["ROUTe:OPEN (@1)"] >= left.when("OFF 0")[0]
    assert found.contacts["enable"]["rests"]
    assert found.contacts["gate"]["rests"] is found.ends["main"].confirmed
    assert ("ROUTe:OPEN (@2)" in moved) is found.ends["main"].confirmed
    assert moved.get("ROUTe:OPEN (@2)", 9.0) >= min(found.off_at, 9.0)


def test_a_plan_of_before_there_were_pins_is_read() -> None:
    relays, left = FakeRelays({2: True}), FakeSupply()
    play(relays, (GATE,), left)
    plan = OffPlan((), ()).to_json()
    assert OffPlan.from_json(plan) == OffPlan((), ())
    old = '{"supplies": [], "inputs": [], "relays": [{"name": "b", "address": "b", "identify": "*IDN?", '
    old += '"identity": "", "session_settings": {}, "contacts": [{"name": "g", "inputs": [], "rest": "r", '
    old += '"query": "q", "resting": ["0"], "stands": "open", "under_load": false}]}]}'
    assert [own.pin for each in OffPlan.from_json(old).relays for own in each.contacts] == [""]


@pytest.mark.parametrize(
    ("pin", "drives", "closed"), [(HIGH, DRIVEN, False), (LOW, SINKS, False), (HIGH, PUSHES, False)]
)
def test_without_a_run_it_comes_to_stand_as_without_power(
    pin: str, drives: str, closed: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As after a crash of run and guard, when nobody knows how it stands."""
    procedure = documents(tmp_path / "s", pin, drives)
    lines: list[str] = []
    with network_of(procedure) as (_, network, loop):
        monkeypatch.setattr(off_now, "connect", network.connect)
        (box,) = network.relays.values()
        box.relays.contacts[3].move(True)
        plant = network.servers["left"].supply.plant
        plant.set_current(LEFT, 1.5)
        plant.set_voltage(LEFT, 12.0)
        plant.switch(LEFT, True)
        loop.complete(asyncio.sleep(0.5))
        assert network.current(LEFT) > 0.3
        text = (procedure.parent / "quay.bench.yaml").read_text("utf-8")
        outputs = read_bench(text, procedure.parent)
        job = OffNow(outputs, None, [], tmp_path / "none", lines.append, read_relays(text))
        assert loop.complete(job.go())
        assert box.relays.contacts[3].closed is closed
        assert not any(network.on(name) for name in (LEFT, RIGHT))
    assert any(says(line, "contact enable", "reads open", "pin") for line in lines)


@pytest.mark.parametrize(
    ("pin", "drives", "first", "last"),
    [
        (HIGH, DRIVEN, "run not driven, inactive", "run not driven, inactive"),
        (LOW, SINKS, "run not driven, inactive", "run not driven, inactive"),
        (HIGH, PUSHES, "run low, inactive", "run low, inactive"),
    ],
)
def test_report_and_sheet_say_what_it_drives_and_how(
    pin: str, drives: str, first: str, last: str, tmp_path: Path
) -> None:
    own = load_documents(documents(tmp_path / "s", pin, drives))
    (told,) = contact_words(own)
    level = "high" if pin == HIGH else "low"
    assert says(
        told, "enable", "port", "channel 3", "pin run", first, "closed in 'enable'", f"run {level}, active"
    )
    assert says(told, "opened in 'disable'", "inactive")
    assert [first in each for each in contacts_first(own)] == [True]
    assert [last in each for each in contacts_last(own)] == [True]


def test_one_unit_may_have_both_and_each_goes_its_way(tmp_path: Path) -> None:
    """A contact in the lead of an input, and one that enables what hangs there."""
    both = RELAYS.replace(
        "fixtures:", "      enable: {channel: 3, closed: high, without_power: open}\nfixtures:"
    )
    procedure = documents(tmp_path / "s")
    text = procedure.read_text("utf-8").replace(
        "lead: silicone pair,", "lead: silicone pair, fixture: main gate,"
    )
    connect = "steps:\n  - relays: {close: [gate], settle: 50 ms}\n    name: connect\n"
    procedure.write_text(text.replace("steps:\n", connect), "utf-8")
    bench = with_a_gate(tmp_path / "t", relays=both).parent / "quay.bench.yaml"
    (procedure.parent / "quay.bench.yaml").write_text(bench.read_text("utf-8"), "utf-8")
    lead, pin = contact_words(load_documents(procedure))
    assert says(lead, "gate", "lead of main")
    assert says(pin, "enable", "pin run")
    outcome, _ = run_of(procedure)
    assert outcome.ended is Ended.COMPLETED
    rests = {e.subject: e.time for e in outcome.record.events if e.kind is EventKind.CONTACT_RESTS}
    sent, confirmed = (
        next(e.time for e in outcome.record.events if (e.kind, e.subject) == (kind, "main"))
        for kind in (EventKind.OFF_SENT, EventKind.OFF_CONFIRMED)
    )
    assert rests["enable"] < sent + 0.05 < confirmed <= rests["gate"]
