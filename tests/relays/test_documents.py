"""What is wrong with relays in the documents: one line, with its place."""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.bench import replaced
from tests.relays.pins import DEVICE, pinned_head
from tests.relays.pins import documents as with_a_pin
from tests.relays.station import HEAD, RELAYS, STEPS, documents

from railwright.documents.loader import load_documents
from railwright.documents.sources import DocumentErrors

SECOND = """      other: {channel: 102, fixture: main gate, without_power: open}
fixtures:
"""
BOX = """  otherbox:
    address: TCPIP::127.0.0.1::5041::SOCKET
    contacts:
      gate: {channel: 1, fixture: second gate, without_power: open}
fixtures:
  second gate: {switch: {starts: open}}
"""


@pytest.mark.parametrize(
    ("old", "new", "place", "says"),
    [
        ("channel: 101", "channel: gate", "16:23", "number of a channel"),
        ("channel: 101, ", "", "16:7", "channel"),
        ("fixture: main gate", "fixture: main gait", "16:37", "main gate"),
        ("fixture: main gate, ", "", "16:7", "fixture"),
        ("without_power: open", "without_power: ajar", "16:63", "ajar"),
        ("without_power: open, ", "", "16:7", "without_power"),
        ("voltage: 30 V", "voltage: 30 A", "16:78", "current"),
        ("voltage: 30 V", "voltage: 0 V", "16:78", "0 V"),
        ("current: 5 A", "current: -5 A", "16:93", "-5 A"),
        ("operate: 12 ms", "operate: 12 V", "17:23", "voltage"),
        ("operate: 12 ms", "operates: 12 ms", "17:14", "operate"),
        ("operate: 12 ms", "under_load: perhaps, operate: 12 ms", "17:26", "perhaps"),
        ("{switch: {starts: open, resistance: 20 mohm ± 50 %}}", "{fuse: {curve: []}}", "16:37", "switch"),
        ("fixtures:\n", SECOND, "18:38", "main gate"),
        ("fixtures:\n", BOX, "21:7", "'gate' again"),
        ("      gate:", "      gate.1:", "16:7", "gate.1"),
        ("5040", "5025", "12:14", "5025"),
        ("  switchbox:", "  left:", "11:3", "left"),
        ("address: TCPIP::127.0.0.1::5040::SOCKET", "address: somewhere", "12:14", "somewhere"),
    ],
)
def test_of_the_bench(old: str, new: str, place: str, says: str, tmp_path: Path) -> None:
    procedure = documents(tmp_path / "s", relays=replaced(RELAYS, (old, new)))
    with pytest.raises(DocumentErrors) as refused:
        load_documents(procedure)
    told = [line for line in str(refused.value).splitlines() if "quay.bench.yaml" in line]
    assert told
    assert says in told[0]
    first = next(
        number
        for number, line in enumerate((tmp_path / "s" / "quay.bench.yaml").read_text().splitlines(), 1)
        if line == "relays:"
    )
    row, column = place.split(":")
    assert f"quay.bench.yaml:{first + int(row) - 10}:{column}:" in told[0]


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("close: [gate], ", "", "'close' or 'open'"),
        ("close: [gate]", "close: [gait]", "gate"),
        ("close: [gate]", "close: [gate, gate]", "again"),
        ("close: [gate]", "close: [gate], open: [gate]", "once"),
        ("close: [gate]", "shut: [gate]", "shut"),
        ("settle: 50 ms", "settle: 50 mV", "voltage"),
        ("settle: 50 ms", "settle: 0 ms", "0 ms"),
        (", settle: 50 ms", "", "settle"),
        ("settle: 50 ms}", "settle: 50 ms}\n    hold: 1 s", "exactly one"),
    ],
)
def test_of_a_step(old: str, new: str, says: str, tmp_path: Path) -> None:
    procedure = documents(tmp_path / "s", steps=STEPS.replace(old, new, 1))
    with pytest.raises(DocumentErrors) as refused:
        load_documents(procedure)
    (line,) = str(refused.value).splitlines()
    assert "truth.procedure.yaml:" in line
    assert says in line


@pytest.mark.parametrize(
    ("old", "new", "says", "lines"),
    [
        ("fixture: main gate, ", "", "no input is hooked up", 2),
        ("lead: thin pair, ", "lead: thin pair, fixture: main gate, ", "main gate", 1),
    ],
)
def test_of_the_hook_up(old: str, new: str, says: str, lines: int, tmp_path: Path) -> None:
    """A contact that is moved and lies in no lead, and one that would lie in two."""
    procedure = documents(tmp_path / "s", head=HEAD.replace(old, new))
    with pytest.raises(DocumentErrors) as refused:
        load_documents(procedure)
    told = str(refused.value).splitlines()
    assert len(told) == lines
    assert says in told[0]


@pytest.mark.parametrize(
    ("name", "old", "new", "says"),
    [
        ("bench", "closed: high, ", "", "exactly one of fixture, closed"),
        ("bench", "closed: high", "closed: up", "up"),
        ("bench", "closed: high", "open: high, closed: high", "'high' twice"),
        ("bench", "closed: high", "open: yes, closed: high", "yes"),
        ("bench", "closed: high", "fixture: nothing, closed: high", "nothing"),
        ("device", "enabled_by: run", "enabled_by: ran", "ran"),
        ("device", "active: high", "active: 5 V", "5 V"),
        ("device", "active: high, ", "", "active"),
        ("device", "esr: 60 mohm}", "esr: 60 mohm}\n        enabled_by: run", "beside 'capacitor'"),
        ("truth", "  run: {from", "  walk: {from", "walk"),
        ("truth", "from: enable", "from: disable", "disable"),
        ("truth", "starts: inactive", "starts: open", "open"),
        ("truth", ", starts: inactive", "", "starts"),
        ("truth", "pins:\n  run: {from: enable, starts: inactive}\n", "", "add the pin under 'pins'"),
    ],
)
def test_of_a_pin(name: str, old: str, new: str, says: str, tmp_path: Path) -> None:
    procedure = with_a_pin(tmp_path / "s")
    (path,) = [each for each in procedure.parent.iterdir() if f"{name}." in each.name]
    text = path.read_text("utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), "utf-8")
    with pytest.raises(DocumentErrors) as refused:
        load_documents(procedure)
    told = str(refused.value).splitlines()
    assert path.name in told[0]
    assert says in told[0]


def test_one_contact_drives_one_pin_and_no_switch_of_a_fixture(tmp_path: Path) -> None:
    head = HEAD.replace("limits:", "pins:\n  run: {from: gate, starts: inactive}\nlimits:")
    device = {DEVICE: [("\ninputs:\n", "\npins:\n  run: {active: high}\n  go: {active: low}\ninputs:\n")]}
    with pytest.raises(DocumentErrors) as refused:
        load_documents(documents(tmp_path / "s", head=head, edits=device))
    assert "switch of fixture 'main gate'" in str(refused.value)
    twice = pinned_head().replace("\nlimits", "\n  go: {from: enable, starts: inactive}\nlimits")
    pins = {DEVICE: [("\npins:\n", "\npins:\n  go: {active: low}\n")]}
    procedure = with_a_pin(tmp_path / "t", head=twice)
    path = procedure.parent / DEVICE
    path.write_text(path.read_text("utf-8").replace(*pins[DEVICE][0]), "utf-8")
    with pytest.raises(DocumentErrors) as refused:
        load_documents(procedure)
    assert "'enable' again" in str(refused.value)


def test_a_contact_is_known_by_its_fixture_and_takes_its_time(tmp_path: Path) -> None:
    relays = RELAYS.replace("operate: 12 ms, release: 8 ms", "release: 8 ms")
    bench = load_documents(documents(tmp_path / "s", relays=relays)).bench
    assert bench.contact_in("main gate") == "gate"
    assert (bench.contact_in(None), bench.contact_in("nothing")) == (None, None)
    instrument, contact = bench.contacts["gate"]
    assert instrument == "switchbox"
    # 50 ms where it is not given; powered to close, as it is open without power.
    assert (contact.takes(True), contact.takes(False)) == (0.05, 0.008)
    rests_closed = contact.model_copy(update={"without_power": "closed"})
    assert (rests_closed.takes(True), rests_closed.takes(False)) == (0.008, 0.05)
