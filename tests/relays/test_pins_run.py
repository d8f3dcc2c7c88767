"""A pin that a digital output drives in a run: verified, watched, inactive at last, behind the first OFF."""

from __future__ import annotations

import asyncio
from pathlib import Path
from typing import Any

import pytest
from tests.relays.pins import DEVICE, DRIVEN, HIGH, LOW, PUSHES, SINKS, documents, steps
from tests.relays.station import LEFT, run_of
from tests.said import says

from railwright.archive.stored import evaluate_run, open_stored
from railwright.evaluation.outcome import Outcome
from railwright.guard.local_link import LocalLink
from railwright.records.ended import Ended
from railwright.running.conduct import Conduct
from railwright.running.end_run import EndRun
from railwright.running.outcome import RunOutcome
from railwright.traces import EventKind
from railwright.twin.relays import RelaysServer

PINS = (EventKind.PIN_ACTIVE, EventKind.PIN_INACTIVE)
PULLED_UP = ("active: high, undriven: high", "closed: low, without_power: closed")
"""Closed, it holds the pin down; open, the pin's own resistor enables the device."""


def times(outcome: RunOutcome, kind: EventKind, subject: str) -> list[float]:
    return [e.time for e in outcome.record.events if (e.kind, e.subject) == (kind, subject)]


@pytest.mark.parametrize(
    ("pin", "drives", "rests"),
    [(HIGH, DRIVEN, "open"), (LOW, SINKS, "open"), (HIGH, PUSHES, "open"), (*PULLED_UP, "closed")],
)
def test_the_device_runs_while_its_pin_is_active_and_is_judged_so(
    pin: str, drives: str, rests: str, tmp_path: Path
) -> None:
    procedure = documents(tmp_path / "s", pin, drives)
    outcome, _ = run_of(procedure)
    assert (outcome.ended, outcome.off_confirmed, outcome.cautions) == (Ended.COMPLETED, True, ())
    assert [e.kind for e in outcome.record.events if e.kind in PINS] == list(PINS)
    evaluation = evaluate_run(open_stored(procedure.parent / "run"), [])
    assert [each.outcome for each in evaluation.results] == [Outcome.PASS, Outcome.PASS]
    resting = [e for e in outcome.record.events if e.kind is EventKind.CONTACT_RESTS]
    assert [(e.subject, e.detail) for e in resting] == [("enable", rests)]


@pytest.mark.parametrize("to", [True, False])
def test_one_that_does_not_read_back_as_told_ends_the_run(
    to: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As it is to become active, or inactive again."""
    right = RelaysServer.answer

    async def sticks(self: RelaysServer, message: bytes) -> str:
        command = b"ROUTe:CLOSe (" if to else b"ROUTe:OPEN ("
        return "" if message.startswith(command) else await right(self, message)

    monkeypatch.setattr(RelaysServer, "answer", sticks)
    outcome, ever = run_of(documents(tmp_path / "s"))
    assert outcome.ended is Ended.INSTRUMENT
    assert says(outcome.cause, "port", "enable", "open" if to else "closed")
    assert outcome.off_confirmed
    assert ever[LEFT]
    assert bool(times(outcome, EventKind.PIN_ACTIVE, "main")) is not to
    assert bool(times(outcome, EventKind.CONTACT_UNKNOWN, "enable")) is not to
    assert any("enable" in each and "unknown" in each for each in outcome.cautions) is not to


def test_one_that_moves_by_itself_ends_the_run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    right = RelaysServer.answer
    asked = 0

    async def moves(self: RelaysServer, message: bytes) -> str:
        nonlocal asked
        asked += message.startswith(b"ROUTe:CLOSe?")
        if asked == 4:
            self.relays.contacts[3].move(True)
        return await right(self, message)

    monkeypatch.setattr(RelaysServer, "answer", moves)
    outcome, _ = run_of(documents(tmp_path / "s"))
    assert outcome.ended is Ended.CHANGED
    assert says(outcome.cause, "port", "enable", "closed", "open")


@pytest.mark.parametrize(("pin", "drives"), [(HIGH, DRIVEN), (LOW, SINKS), PULLED_UP])
def test_a_load_that_runs_while_its_pin_says_otherwise_ends_the_run(
    pin: str, drives: str, tmp_path: Path
) -> None:
    """The polarity is the other one: found by what no capacitor takes, before the step that enables it."""
    outcome, _ = run_of(documents(tmp_path / "s", pin, drives), faults=("pin inverted main",))
    assert outcome.ended is Ended.STOPPED
    assert says(outcome.cause, "main", "run", "polarity")
    assert outcome.off_confirmed
    assert not times(outcome, EventKind.PIN_ACTIVE, "main")
    (ended,) = times(outcome, EventKind.RUN_ENDS, "run")
    # The input is on from 0 s and at its voltage within 10 ms; one reading a hundredth of a second.
    assert ended < 0.25


def test_a_device_that_never_follows_its_pin_fails_its_requirement(tmp_path: Path) -> None:
    """What drives it says that it does, and nothing is drawn too much: the requirement tells."""
    procedure = documents(tmp_path / "s")
    outcome, _ = run_of(procedure, faults=("pin stuck main",))
    assert outcome.ended is Ended.COMPLETED
    evaluation = evaluate_run(open_stored(procedure.parent / "run"), [])
    assert [each.outcome for each in evaluation.results] == [Outcome.FAIL, Outcome.PASS]


@pytest.mark.parametrize("rate", ["0.02 V/ms", "0.1 V/ms", "2 V/ms"])
@pytest.mark.parametrize("farads", ["1000 uF", "20000 uF"])
def test_what_charges_a_capacitor_is_no_load(rate: str, farads: str, tmp_path: Path) -> None:
    """On a slow rise, on a fast one, and in the current limit."""
    slowly = steps().replace("rise: 2 V/ms", f"rise: {rate}").replace("settle: 150 ms", "settle: 900 ms")
    path = documents(tmp_path / "s", procedure=slowly, requires="  []\n")
    device = path.parent / DEVICE
    device.write_text(device.read_text("utf-8").replace("1000 uF", farads), "utf-8")
    outcome, _ = run_of(path)
    assert (outcome.ended, outcome.cause) == (Ended.COMPLETED, "")


def told_by_the_guard(procedure: Path, monkeypatch: pytest.MonkeyPatch) -> list[dict[str, Any]]:
    """What the guard told of a run that was killed while its pin was active."""
    right = LocalLink._hear
    heard: list[dict[str, Any]] = []

    def hear(self: LocalLink, message: dict[str, Any]) -> None:
        heard.append(message)
        right(self, message)

    def killed(conduct: Conduct) -> bool:
        if conduct.recorder.now() > 1.8:
            raise EndRun(Ended.KILLED, "killed")
        return False

    with monkeypatch.context() as patched:
        patched.setattr(Conduct, "_switch_off", lambda conduct, ended, cause: conduct.link.cut())
        patched.setattr(Conduct, "_waits_on", killed)
        patched.setattr(LocalLink, "_hear", hear)
        run_of(procedure)
    return [message for message in heard if message["kind"] == "off"]


@pytest.mark.parametrize(
    ("pin", "drives", "stands"), [(HIGH, DRIVEN, "open"), (LOW, SINKS, "open"), (*PULLED_UP, "closed")]
)
def test_a_run_that_is_killed_leaves_its_pin_to_the_guard(
    pin: str, drives: str, stands: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """OFF goes out first; the pin is inactive long before the outputs are confirmed off."""
    told = told_by_the_guard(documents(tmp_path / "s", pin, drives), monkeypatch)
    whats = [m["what"] for m in told if m["what"] in ("off sent", "contact", "confirmed off")]
    assert whats[0] == "off sent"
    assert whats.index("contact") < whats.index("confirmed off")
    (contact,) = [m for m in told if m["what"] == "contact"]
    assert (contact["pin"], contact["stands"], contact["rests"]) == ("run", stands, True)
    assert contact["inputs"] == ["main"]


def test_a_unit_that_hangs_holds_up_no_off(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What drives the pin gives no answer any more as the run is killed."""
    right = RelaysServer.answer

    async def hangs(self: RelaysServer, message: bytes) -> str:
        if any(contact.closed for contact in self.relays.contacts.values()) and b"OPEN" in message:
            await asyncio.sleep(100.0)
        return await right(self, message)

    def after(messages: list[dict[str, Any]], what: str) -> list[float]:
        first = next(m["time"] for m in messages if m["what"] == "off sent")
        return [m["time"] - first for m in messages if m["what"] == what]

    still = told_by_the_guard(documents(tmp_path / "a"), monkeypatch)
    monkeypatch.setattr(RelaysServer, "answer", hangs)
    told = told_by_the_guard(documents(tmp_path / "b"), monkeypatch)
    assert after(told, "off sent") == pytest.approx(after(still, "off sent"), abs=1e-3)
    # Not later; and what is still enabled empties the capacitor sooner.
    both = zip(after(told, "confirmed off"), after(still, "confirmed off"), strict=True)
    assert all(hung <= well + 0.1 for hung, well in both)
    (contact,) = [m for m in told if m["what"] == "contact"]
    assert not contact["rests"]
    assert "unknown" in contact["why"]
