"""One run, one bench; and the output that is named is the output that is spoken to."""

from __future__ import annotations

import os
from dataclasses import replace
from pathlib import Path

import pytest
from tests.running.small import PROCEDURE, SET_POINTS, Small, write
from tests.said import says

from railwright.documents.loader import load_documents
from railwright.documents.output_name import OutputName
from railwright.guard.link import Answerless
from railwright.guard.local_link import LocalLink
from railwright.guard.locks import holder_of, runtime_folder
from railwright.guard.process_link import ProcessLink
from railwright.records.ended import Ended
from railwright.running.runner import run
from railwright.twin.virtual_network import VirtualNetwork
from railwright.virtual_time import VirtualLoop


def test_a_second_run_is_refused_before_it_sends_a_byte(bench: Small) -> None:
    first = ProcessLink()
    try:
        first.open("left", bench.left.address, "*IDN?", 1.0)
        said = list(bench.left.units)
        outcome = bench.run()
        assert outcome.ended is Ended.INSTRUMENT
        assert says(outcome.cause, "left", bench.left.address, "another run", os.getpid())
        assert bench.left.units == said
        assert not outcome.energised
        holder = holder_of(bench.left.address, runtime_folder())
        assert holder is not None
        assert holder["guard_pid"] == first.pid
    finally:
        first.close()
    assert bench.run(folder=bench.folder / "again").ended is Ended.COMPLETED


def test_a_lock_is_gone_with_its_guard_however_it_ends(bench: Small) -> None:
    first = ProcessLink()
    first.open("left", bench.left.address, "*IDN?", 1.0)
    first._process.kill()
    first._process.wait()
    assert holder_of(bench.left.address, runtime_folder()) is None
    assert bench.run().ended is Ended.COMPLETED


def test_one_instrument_at_two_addresses_is_noticed(bench: Small) -> None:
    bench.right.identity = bench.left.identity
    link = ProcessLink()
    try:
        link.open("left", bench.left.address, "*IDN?", 1.0)
        with pytest.raises(Answerless, match="'left'"):
            link.open("right", bench.right.address, "*IDN?", 1.0)
    finally:
        link.close()


def test_outputs_are_spoken_to_by_their_channels(tmp_path: Path) -> None:
    address = "TCPIP::127.0.0.1::1::SOCKET"
    path = write(tmp_path, address, address.replace("::1::", "::2::"), PROCEDURE.replace("left.1", "left.B"))
    file = tmp_path / "bench.yaml"
    text = file.read_text("utf-8")
    one, two = "      1: {voltage", "      2: {voltage"
    text = text.replace(one, "      3: {channel: 2, voltage", 1).replace(
        two, "      B: {channel: 3, voltage", 1
    )
    file.write_text(text.replace("  right:", "      1: {same_as: B}\n  right:", 1), "utf-8")
    documents = load_documents(path)
    main = SET_POINTS["main"]
    points = replace(main.outputs[0], output=OutputName("left.B"))
    set_points = {**SET_POINTS, "main": replace(main, outputs=(points,))}
    sent: list[str] = []

    def note(time: float, name: str, direction: str, line: str) -> None:
        if name == "left" and direction == "sent":
            sent.append(line)

    loop = VirtualLoop()
    with VirtualNetwork(loop, documents.bench, documents.device, documents.procedure) as net:
        link = LocalLink(loop, net.connect)
        options = {"unit": "U", "operator": "O", "folder": tmp_path / "run", "link": link}
        outcome = run(documents, set_points, **options, trace=note)  # type: ignore[arg-type]
        on = {name for name in ("left.3", "left.B", "left.1") if net.energised(name)}
    assert (outcome.ended, outcome.off_confirmed) == (Ended.COMPLETED, True)
    assert on == {"left.B"}
    commands = [unit for line in sent for unit in line.split(";") if "(@" in unit and "?" not in unit]
    assert commands
    assert all(unit.endswith("(@3)") for unit in commands)
    assert any("ISUMmary3" in line for line in sent)


def test_instruments_without_a_serial_number_are_told_apart_by_their_addresses(bench: Small) -> None:
    bench.left.identity = bench.right.identity = "Railwright,M-1,0,1.0"
    link = ProcessLink()
    try:
        for name, supply in (("left", bench.left), ("right", bench.right)):
            assert link.open(name, supply.address, "*IDN?", 1.0)["answer"] == "Railwright,M-1,0,1.0"
    finally:
        link.close()


def test_a_folder_that_takes_no_locks_is_named(bench: Small, monkeypatch: pytest.MonkeyPatch) -> None:
    taken = bench.folder / "taken"
    taken.write_text("a file, no folder", "utf-8")
    monkeypatch.setenv("RAILWRIGHT_RUNTIME", str(taken))
    outcome = bench.run()
    assert outcome.ended is Ended.INSTRUMENT
    assert says(outcome.cause, taken, "Not a directory")
    assert bench.left.units == []


@pytest.mark.parametrize("host", ["a" * 70, "quay..bench"])
def test_a_name_that_no_computer_can_have_is_said_so(bench: Small, host: str) -> None:
    link = ProcessLink()
    try:
        with pytest.raises(Answerless, match="that name"):
            link.open("left", f"TCPIP::{host}::5025::SOCKET", "*IDN?", 1.0)
    finally:
        link.close()
