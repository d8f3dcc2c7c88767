"""Two contacts of one instrument, in the leads of two supplies; one of them rests closed."""

from __future__ import annotations

import socket
import time
from pathlib import Path

import pytest
from tests.multimeter.station import network_of
from tests.relays.station import HEAD, LEFT, RELAYS, REQUIRES, RIGHT, STEPS, documents, run_of
from tests.said import says

from railwright.documents.loader import load_documents
from railwright.guard.address import socket_of
from railwright.job import Job
from railwright.plan.plan import plan_of
from railwright.records.ended import Ended
from railwright.rehearsal.rehearse import rehearse
from railwright.traces import EventKind
from railwright.twin.launcher import TwinBench
from railwright.twin.relays import RelaysServer

BOTH = RELAYS.replace(
    "fixtures:\n",
    "      vent: {channel: 7, fixture: vent gate, without_power: closed, voltage: 60 V, current: 1 A}\n"
    "fixtures:\n  vent gate: {switch: {starts: closed, resistance: 50 mohm}}\n",
)
BOTH_HEAD = HEAD.replace("lead: thin pair,", "lead: thin pair, fixture: vent gate,")
TWO = STEPS.replace("close: [gate], settle: 50 ms", "close: [gate], open: [vent], settle: 100 ms").replace(
    "  - power_up: {order: [main, transducer]",
    "  - relays: {close: [vent], settle: 60 ms}\n    name: vent again\n"
    "  - power_up: {order: [main, transducer]",
)


def test_each_is_moved_by_itself_and_rests_as_it_does_without_power(tmp_path: Path) -> None:
    procedure = documents(tmp_path / "s", relays=BOTH, head=BOTH_HEAD, steps=TWO)
    outcome, ever = run_of(procedure)
    assert outcome.ended is Ended.COMPLETED
    moves = [
        (each.subject, each.kind)
        for each in outcome.record.events
        if each.kind in (EventKind.LEAD_OPENS, EventKind.LEAD_CLOSES)
    ]
    opens, closes = EventKind.LEAD_OPENS, EventKind.LEAD_CLOSES
    assert moves == [("transducer", opens), ("main", closes), ("transducer", closes), ("main", opens)]
    rests = {e.subject: e.detail for e in outcome.record.events if e.kind is EventKind.CONTACT_RESTS}
    assert rests == {"gate": "open", "vent": "closed"}
    assert all(len(spans) == 1 for spans in ever.values())


@pytest.mark.parametrize(
    ("fault", "subject"), [("contact welded main", "main"), ("contact welded transducer", "transducer")]
)
def test_the_welded_one_is_named(fault: str, subject: str, tmp_path: Path) -> None:
    """Both inputs are on with an open contact; only one of them draws a current."""
    steps = TWO[TWO.index("  - power_up") :].replace("  - power_down", "  - hold: 400 ms\n  - power_down")
    steps = "  - relays: {open: [vent], settle: 60 ms}\n" + steps.replace(
        "  - relays: {open: [gate], settle: 100 ms}\n    name: disconnect\n", ""
    )
    procedure = documents(tmp_path / "s", relays=BOTH, head=BOTH_HEAD, steps=steps)
    outcome, _ = run_of(procedure, faults=(fault,))
    assert outcome.ended is Ended.STOPPED
    contact = {"main": "gate", "transducer": "vent"}[subject]
    assert says(outcome.cause, subject, contact)
    assert outcome.off_confirmed


@pytest.mark.parametrize("first", [101, 7])
def test_one_that_takes_the_other_along_is_found_before_anything_is_on(
    first: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two coils on one line: the contact that stood where the procedure begins moves with the one that did
    not.
    """
    begin, right = RelaysServer.__init__, RelaysServer.answer
    other = {101: 7, 7: 101}[first]

    def left(self: RelaysServer, relays, catch_up) -> None:  # type: ignore[no-untyped-def]
        begin(self, relays, catch_up)
        relays.contacts[first].move(first == 101)  # which is not where the procedure begins

    async def coupled(self: RelaysServer, message: bytes) -> str:
        answer = await right(self, message)
        if message.startswith((b"ROUTe:CLOSe (", b"ROUTe:OPEN (")) and f"(@{first})".encode() in message:
            self.relays.contacts[other].move(other == 101)
        return answer

    monkeypatch.setattr(RelaysServer, "__init__", left)
    monkeypatch.setattr(RelaysServer, "answer", coupled)
    outcome, ever = run_of(documents(tmp_path / "s", relays=BOTH, head=BOTH_HEAD, steps=TWO))
    assert outcome.ended is Ended.INSTRUMENT
    assert says(outcome.cause, "switchbox", {101: "vent", 7: "gate"}[first])
    assert not any(ever.values())


def told(address: str, message: str) -> str:
    """What an instrument at a socket answers, '' where it was asked nothing."""
    place = socket_of(address)
    assert place is not None
    with socket.create_connection(place, 5.0) as connection:
        connection.sendall(message.encode() + b"\n")
        return connection.recv(4096).decode().strip() if "?" in message else ""


@pytest.mark.parametrize("supplies", [("left", "right"), ("right", "left")])
def test_twins_that_share_a_relay_are_one_process(supplies: tuple[str, str], tmp_path: Path) -> None:
    """One instrument opens and closes in the physics of both supplies, each of its contacts by itself."""
    own = load_documents(documents(tmp_path / "s", relays=BOTH, head=BOTH_HEAD, steps=TWO))
    with TwinBench(own.bench, own.device, own.procedure, supplies=supplies) as twins:
        assert list(twins._children) == [supplies]
        assert {"left", "right", "switchbox"} <= set(twins.addresses)
        for name in supplies:
            at = ",(@1)" if name == "left" else ""
            for command in (f"SOURce:VOLTage 12{at}", f"SOURce:CURRent 1{at}", f"OUTPut:STATe ON{at}"):
                assert told(twins.addresses[name], f"{command};*OPC?") == "1"
        found = []
        for closed in ((7,), (101, 7), (101,)):
            for channel in (101, 7):
                word = "CLOSe" if channel in closed else "OPEN"
                assert told(twins.addresses["switchbox"], f"ROUTe:{word} (@{channel});*OPC?") == "1"
            time.sleep(0.6)
            traces = twins.truth().traces
            found.append(tuple(bool(traces[n].columns["current"][-1] > 1e-3) for n in ("main", "transducer")))
        assert found == [(False, True), (True, True), (True, False)]
        assert {name for name, spans in twins.energised().items() if spans} == {"left.1", "right.1"}


@pytest.mark.parametrize("relays", [1, 2])
def test_only_those_that_share_one_are(relays: int, tmp_path: Path) -> None:
    """A relay whose contacts lie behind one supply leaves each a process of its own."""
    own = load_documents(
        documents(tmp_path / "s", **({"relays": BOTH, "head": BOTH_HEAD} if relays == 2 else {}))
    )
    twins = TwinBench(own.bench, own.device, own.procedure)
    assert len(twins._together()) == len(own.bench.supplies) - (relays == 2)


def test_what_a_relay_does_reaches_the_lead_it_lies_in_and_no_other(tmp_path: Path) -> None:
    procedure = documents(tmp_path / "s", relays=BOTH, head=BOTH_HEAD, steps=TWO, requires=REQUIRES)
    with network_of(procedure) as (_, network, _loop):
        contacts = network.relays["switchbox"].relays.contacts
        places = {channel: each.at[1] for channel, each in contacts.items() if each.at is not None}
        assert places == {101: "main", 7: "transducer"}
        assert not any(network.on(name) for name in (LEFT, RIGHT))


@pytest.mark.parametrize(
    ("step", "expected"),
    [  # main closes in 12 ms; transducer opens with power in 50 ms, which nothing says, and closes in 50 ms
        ("close: [gate], open: [vent]", [("transducer", 0.05), ("main", 0.062)]),
        ("close: [gate, vent]", [("main", 0.012), ("transducer", 0.062)]),
        ("close: [vent, gate]", [("transducer", 0.05), ("main", 0.062)]),
    ],
)
def test_contacts_of_a_step_are_rehearsed_one_after_the_other_as_a_run_moves_them(
    step: str, expected: list[tuple[str, float]], tmp_path: Path
) -> None:
    relays = BOTH if "open" in step else BOTH.replace("starts: closed", "starts: open")
    steps = TWO.replace("close: [gate], open: [vent]", step)
    job = Job.open(documents(tmp_path / "s", relays=relays, head=BOTH_HEAD, steps=steps))
    set_points = job.check(static=True).settings.set_points
    prediction = rehearse(job.documents, set_points, timeline=plan_of(job.documents, set_points).played)
    first = next(span for span in prediction.record.spans)
    kinds = (EventKind.LEAD_OPENS, EventKind.LEAD_CLOSES)
    moved = [
        (event.subject, pytest.approx(event.time - first.start))
        for event in prediction.record.events
        if event.kind in kinds and event.time <= first.end
    ]
    assert moved == expected
