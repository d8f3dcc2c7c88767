"""A relay in the lead of an input: moved while the output is off, verified, watched, and at rest at last."""

from __future__ import annotations

import asyncio
import datetime as dt
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from tests.multimeter.station import VOLTMETER
from tests.relays.station import HEAD, LEFT, RELAYS, REQUIRES, STEPS, documents, run_of

from railwright.archive.stored import evaluate_run, open_stored
from railwright.evaluation.outcome import Outcome
from railwright.guard.local_link import LocalLink
from railwright.records.ended import Ended
from railwright.report.content import _instrument
from railwright.report.of_run import run_facts_of
from railwright.report.subject import run_facts
from railwright.running import conduct
from railwright.running.conduct import Conduct
from railwright.running.end_run import EndRun
from railwright.running.outcome import RunOutcome
from railwright.traces import EventKind
from railwright.twin.relays import RelaysServer, TwinRelays

OPEN_UP = """  - power_up: {order: [main], rise: 2 V/ms, settle: 150 ms}
    name: up
  - hold: 1 s
    name: steady
  - power_down: {order: [main]}
"""
MOVES = (EventKind.LEAD_CLOSES, EventKind.LEAD_OPENS)
RESTS = (EventKind.CONTACT_RESTS, EventKind.CONTACT_UNKNOWN)


def kinds(outcome: RunOutcome, *wanted: EventKind) -> list[tuple[str, EventKind]]:
    return [(each.subject, each.kind) for each in outcome.record.events if each.kind in wanted]


def time_of(outcome: RunOutcome, kind: EventKind, subject: str) -> float:
    return next(e.time for e in outcome.record.events if (e.kind, e.subject) == (kind, subject))


def test_the_contact_closes_before_anything_is_on_and_opens_once_it_is_read_to_be_off(tmp_path: Path) -> None:
    procedure = documents(tmp_path / "s")
    outcome, ever = run_of(procedure)
    assert (outcome.ended, outcome.off_confirmed) == (Ended.COMPLETED, True)
    assert kinds(outcome, *MOVES) == [("main", EventKind.LEAD_CLOSES), ("main", EventKind.LEAD_OPENS)]
    closes, on = time_of(outcome, EventKind.LEAD_CLOSES, "main"), time_of(outcome, EventKind.ON, "main")
    assert on - closes >= 0.05
    # Below 1 V, and so for a quarter of a second, before an unrated contact is moved.
    fell = time_of(outcome, EventKind.FELL, "main")
    assert time_of(outcome, EventKind.LEAD_OPENS, "main") - fell >= 0.25
    assert len(ever[LEFT]) == 1
    assert kinds(outcome, *RESTS) == [("gate", EventKind.CONTACT_RESTS)]
    evaluation = evaluate_run(open_stored(procedure.parent / "run"), [])
    assert evaluation.outcome is Outcome.PASS


def test_what_moved_its_contacts_is_among_the_instruments_of_a_run(tmp_path: Path) -> None:
    """As it said that it is; it measures nothing, and needs no calibration."""
    procedure = documents(tmp_path / "s")
    run_of(procedure)
    about = json.loads((procedure.parent / "run" / "run.json").read_text("utf-8"))
    kinds = {each["kind"]: each for each in about["instruments"]}
    assert list(kinds) == ["supply", "relays"]
    assert (kinds["relays"]["model"], kinds["relays"]["serial"]) == ("QS-4", "R-0007")
    assert kinds["relays"]["identification"]["serial"] == "R-0007"
    stored = open_stored(procedure.parent / "run")
    facts = run_facts(run_facts_of(stored), stored.documents.bench, (), ())
    moved = next(each for each in facts.instruments if each.kind == "relays")
    assert (moved.state(dt.date(2026, 11, 30)), moved.serial) == ("not needed", "R-0007")
    shown = _instrument(moved, facts)
    assert (shown["state"], shown["certificate"], shown["due"]) == ("not needed", "–", "–")


@pytest.mark.parametrize(
    ("command", "answers", "says"),
    [
        ("*IDN?", "Somebody,Other,R-0007,1.0", "QS-4"),
        ("*IDN?", "Somebody,QS-4,R-0099,1.0", "R-0007"),
        ("*IDN?", "what?", "four fields"),
        ("ROUTe:CLOSe? (@101)", "2", "1 or 0"),
        ("ROUTe:CLOSe? (@101)", "0,1", "1 or 0"),
        ("ROUTe:CLOSe? (@101)", "", ""),
        ("SYSTem:ERRor?", '-222,"Data out of range"', ""),
    ],
)
def test_nothing_is_energised_beside_a_relay_that_is_not_as_it_should_be(
    command: str, answers: str, says: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    right = RelaysServer.answer

    async def wrong(self: RelaysServer, message: bytes) -> str:
        answer = await right(self, message)
        return answers if message.decode().strip() == command else answer

    monkeypatch.setattr(RelaysServer, "answer", wrong)
    outcome, ever = run_of(documents(tmp_path / "s"))
    assert outcome.ended is Ended.INSTRUMENT
    assert "switchbox" in outcome.cause
    assert says in outcome.cause
    assert not any(ever.values())


def test_nothing_is_energised_where_the_contact_does_not_say_that_it_closed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    right = RelaysServer.answer

    async def sticks(self: RelaysServer, message: bytes) -> str:
        return "" if message.startswith(b"ROUTe:CLOSe (") else await right(self, message)

    monkeypatch.setattr(RelaysServer, "answer", sticks)
    outcome, ever = run_of(documents(tmp_path / "s"))
    assert outcome.ended is Ended.INSTRUMENT
    assert "gate" in outcome.cause
    assert not any(ever.values())


@pytest.mark.parametrize("found", [True, False])
def test_a_contact_is_brought_to_where_the_procedure_begins(
    found: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One that an earlier run left closed is opened before anything is on; and the other way round."""
    begin = RelaysServer.__init__

    def left(self: RelaysServer, relays, catch_up) -> None:  # type: ignore[no-untyped-def]
        begin(self, relays, catch_up)
        relays.contacts[101].move(found)

    monkeypatch.setattr(RelaysServer, "__init__", left)
    starts = "open" if found else "closed"
    relays = RELAYS.replace("starts: open", f"starts: {starts}")
    outcome, _ = run_of(documents(tmp_path / "s", relays=relays))
    assert outcome.ended is Ended.COMPLETED
    found_events = [each for each in outcome.record.events if each.kind is EventKind.CONTACT_FOUND]
    assert [(each.subject, each.detail) for each in found_events] == [("gate", "closed" if found else "open")]


@pytest.mark.parametrize(
    ("how", "ended"),
    [
        ("hangs", Ended.INSTRUMENT),
        ("closes", Ended.INSTRUMENT),
        ("babbles", Ended.INSTRUMENT),
        ("opens", Ended.CHANGED),
    ],
)
def test_one_that_fails_while_outputs_are_on_has_them_off(
    how: str, ended: Ended, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """OFF comes within the deadline of one answer and one interval, and waits for nothing of the relay."""
    right, polls = RelaysServer.answer, [0]
    fails: list[float] = []

    async def failing(self: RelaysServer, message: bytes) -> str:
        if message.startswith(b"ROUTe:CLOSe?"):
            polls[0] += 1
        if polls[0] < 5:
            return await right(self, message)
        fails.append(asyncio.get_running_loop().time())
        if how == "hangs":
            await asyncio.sleep(1e6)
        if how == "closes":
            raise ConnectionResetError
        return "0" if how == "opens" else "???"

    monkeypatch.setattr(RelaysServer, "answer", failing)
    outcome, ever = run_of(documents(tmp_path / "s", steps=STEPS.replace("hold: 1 s", "hold: 3 s")))
    assert outcome.ended is ended
    assert "switchbox" in outcome.cause
    assert outcome.off_confirmed
    ((_, off),) = ever[LEFT]
    assert off is not None
    assert off - fails[0] < (1.1 if how == "hangs" else 0.05)
    # What the contact does then nobody knows, unless it says that it rests.
    assert kinds(outcome, *RESTS) == [("gate", RESTS[how != "opens"])]
    assert any("gate" in each for each in outcome.cautions) == (how != "opens")


def test_a_relay_that_hangs_holds_up_no_off(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """It falls silent after the last movement: outputs are off as ever; of the contact nobody knows."""
    normal, _ = run_of(documents(tmp_path / "a", steps=STEPS.replace("hold: 500 ms", "hold: 10 ms")))
    right, asked = RelaysServer.answer, [0]

    async def hangs(self: RelaysServer, message: bytes) -> str:
        asked[0] += bool(asked[0]) or message.startswith(b"ROUTe:OPEN")
        if asked[0] > 3:  # beside that, one question for errors and one for how it stands
            await asyncio.sleep(1e6)
        return await right(self, message)

    monkeypatch.setattr(RelaysServer, "answer", hangs)
    outcome, _ = run_of(documents(tmp_path / "b", steps=STEPS.replace("hold: 500 ms", "hold: 10 ms")))
    assert (normal.off_confirmed, outcome.off_confirmed) == (True, True)
    took = [
        time_of(each, EventKind.OFF_CONFIRMED, "main") - time_of(each, EventKind.OFF_SENT, "main")
        for each in (normal, outcome)
    ]
    assert took[0] == pytest.approx(took[1], abs=0.05)
    assert kinds(outcome, *RESTS) == [("gate", EventKind.CONTACT_UNKNOWN)]


def test_a_welded_contact_is_found_by_the_current_that_flows_through_it(tmp_path: Path) -> None:
    procedure = documents(tmp_path / "s", steps=OPEN_UP, requires=REQUIRES)
    outcome, ever = run_of(procedure, faults=("contact welded main",))
    assert outcome.ended is Ended.STOPPED
    assert "gate" in outcome.cause
    assert outcome.off_confirmed
    ((on, off),) = ever[LEFT]
    assert off is not None
    assert off - on < 0.6


def test_an_open_lead_is_no_voltage_at_the_connector(tmp_path: Path) -> None:
    """The supply reads 12 V at its terminals; of the connector it says nothing."""
    requires = REQUIRES + REQUIRES.replace("{name: level", "{name: own, at: terminals")
    procedure = documents(tmp_path / "s", steps=OPEN_UP, requires=requires)
    outcome, _ = run_of(procedure)
    assert outcome.ended is Ended.COMPLETED
    evaluation = evaluate_run(open_stored(procedure.parent / "run"), [])
    assert [each.outcome for each in evaluation.results] == [Outcome.INCONCLUSIVE, Outcome.PASS]


def test_a_contact_that_sticks_open_and_says_closed_is_no_pass(tmp_path: Path) -> None:
    procedure = documents(tmp_path / "s")
    outcome, _ = run_of(procedure, faults=("contact stuck main",))
    assert outcome.ended is Ended.COMPLETED
    evaluation = evaluate_run(open_stored(procedure.parent / "run"), [])
    assert evaluation.results[0].outcome is Outcome.INCONCLUSIVE


def test_an_unrated_contact_is_not_moved_under_load_whatever_was_accepted(tmp_path: Path) -> None:
    steps = STEPS.replace(
        "  - power_down", "  - relays: {open: [gate], settle: 50 ms}\n    name: cut\n  - power_down", 1
    ).replace("  - relays: {open: [gate], settle: 100 ms}\n    name: disconnect\n", "")
    outcome, ever = run_of(documents(tmp_path / "s", steps=steps))
    assert outcome.ended is Ended.STOPPED
    assert "gate" in outcome.cause
    assert kinds(outcome, *MOVES) == [("main", EventKind.LEAD_CLOSES)]
    assert outcome.off_confirmed
    assert len(ever[LEFT]) == 1


def test_a_rated_one_cuts_the_device_off_under_load(tmp_path: Path) -> None:
    """The output goes on at 12 V while no current flows."""
    steps = STEPS.replace(
        "  - power_down",
        "  - relays: {open: [gate], settle: 50 ms}\n    name: cut\n  - hold: 300 ms\n    name: away\n"
        "  - power_down",
        1,
    ).replace("  - relays: {open: [gate], settle: 100 ms}\n    name: disconnect\n", "")
    relays = RELAYS.replace("operate:", "under_load: yes, operate:")
    outcome, _ = run_of(documents(tmp_path / "s", steps=steps, relays=relays))
    assert outcome.ended is Ended.COMPLETED
    away = next(each for each in outcome.record.spans if each.name == "away")
    inside = outcome.record.traces["main"].between(away.start + 0.05, away.end)
    assert inside.columns["current"].max() < 5e-3
    assert inside.columns["terminal_voltage"].min() == pytest.approx(12.0, abs=0.05)


@pytest.mark.parametrize(("below", "ended"), [(-1.0, Ended.STOPPED), (1.0, Ended.COMPLETED)])
def test_a_contact_that_was_left_is_not_moved_while_a_voltage_stands_there(
    below: float, ended: Ended, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It was left closed and begins open; where 0 V count as a voltage, nothing is moved or energised."""
    begin, moved = RelaysServer.__init__, list[bytes]()

    def left(self: RelaysServer, relays: TwinRelays, catch_up: Callable[[], None]) -> None:
        begin(self, relays, catch_up)
        relays.contacts[101].move(True)

    right = RelaysServer.answer

    async def listening(self: RelaysServer, message: bytes) -> str:
        moved.extend([message] if message.startswith(b"ROUT") and b"?" not in message else [])
        return await right(self, message)

    monkeypatch.setattr(RelaysServer, "__init__", left)
    monkeypatch.setattr(RelaysServer, "answer", listening)
    monkeypatch.setattr(conduct, "off_threshold", lambda device, name: below)
    outcome, ever = run_of(documents(tmp_path / "s"))
    assert outcome.ended is ended
    assert any(ever.values()) is (ended is Ended.COMPLETED)
    # In the end all outputs are off and without a voltage by the guard's own measure: there it comes to rest.
    assert [message.partition(b" ")[0] for message in moved] == (
        [b"ROUTe:OPEN"] if ended is Ended.STOPPED else [b"ROUTe:OPEN", b"ROUTe:CLOSe", b"ROUTe:OPEN"]
    )
    if ended is Ended.STOPPED:
        assert "gate" in outcome.cause


def test_a_relay_that_tells_how_its_contacts_stand_has_time_to_move_them(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It answers what its contacts do, 10 ms after it was told, and not what its coils do."""
    right, told = RelaysServer.answer, {"at": -1.0, "closed": False, "before": False}

    async def behind(self: RelaysServer, message: bytes) -> str:
        now = asyncio.get_running_loop().time()
        answer = await right(self, message)
        if message.startswith((b"ROUTe:CLOSe (", b"ROUTe:OPEN (")):
            told.update(at=now, before=told["closed"], closed=message.startswith(b"ROUTe:CLOSe"))
        if message.startswith(b"ROUTe:CLOSe?") and now - told["at"] < 0.01:
            return str(int(told["before"]))
        return answer

    monkeypatch.setattr(RelaysServer, "answer", behind)
    relays = RELAYS.replace("release: 8 ms", "release: 12 ms")
    outcome, _ = run_of(documents(tmp_path / "s", relays=relays))
    assert outcome.ended is Ended.COMPLETED


def test_a_multimeter_at_the_connector_contradicts_no_supply_whose_lead_is_open(tmp_path: Path) -> None:
    """The supply reads 12 V, the multimeter what the capacitor still holds: both are right."""
    steps = STEPS.replace(
        "  - power_down",
        "  - relays: {open: [gate], settle: 50 ms}\n    name: cut\n  - hold: 800 ms\n    name: away\n"
        "  - power_down",
        1,
    ).replace("  - relays: {open: [gate], settle: 100 ms}\n    name: disconnect\n", "")
    relays = RELAYS.replace("operate:", "under_load: yes, operate:")
    procedure = documents(
        tmp_path / "s",
        steps=steps,
        relays=f"\nmultimeters:{VOLTMETER}{relays}",
        head=HEAD.replace("\nlimits:", "\nmultimeters: {volts: {of: main}}\nlimits:"),
        requires=REQUIRES + REQUIRES.replace("level, measure", "low, measure").replace("steady", "away"),
    )
    outcome, _ = run_of(procedure)
    assert outcome.ended is Ended.COMPLETED
    evaluation = evaluate_run(open_stored(procedure.parent / "run"), [])
    assert evaluation.contradictions == ()
    assert [(each.source, each.outcome) for each in evaluation.results] == [
        ("volts", Outcome.PASS),
        ("volts", Outcome.FAIL),
    ]


def test_a_run_that_is_killed_leaves_its_contacts_to_the_guard(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Outputs first; then the contact; and who reads the run later is told of both."""

    def killed(conduct: Conduct) -> None:
        assert conduct.link.plan is not None
        assert [own.name for each in conduct.link.plan.relays for own in each.contacts] == ["gate"]
        raise EndRun(Ended.KILLED, "killed")

    right = LocalLink._hear
    heard: list[dict[str, Any]] = []

    def hear(self: LocalLink, message: dict[str, Any]) -> None:
        heard.append(message)
        right(self, message)

    monkeypatch.setattr(Conduct, "_switch_off", lambda conduct, ended, cause: conduct.link.cut())
    monkeypatch.setattr(
        Conduct, "_waits_on", lambda conduct: conduct.recorder.now() > 0.6 and killed(conduct)
    )
    monkeypatch.setattr(LocalLink, "_hear", hear)
    run_of(documents(tmp_path / "s"))
    told = [message for message in heard if message["kind"] == "off"]
    whats = [message["what"] for message in told if message["what"] in ("confirmed off", "contact")]
    assert whats == ["confirmed off", "confirmed off", "contact"]
    assert [message["rests"] for message in told if message["what"] == "contact"] == [True]
