"""The command on instruments behind real sockets, with a guard in a process of its own."""

from __future__ import annotations

import asyncio
import io
import json
import socketserver
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from ruamel.yaml import YAML
from tests.bench import bench_data
from tests.instruments.fake_supply import FakeSupply
from tests.proving.bench import LOAD, load_of
from tests.said import says
from typer.testing import CliRunner, Result

from railwright.cli.app import app
from railwright.cli.prove import _Asked
from railwright.dialects.files import USER_FOLDER
from railwright.documents.output_name import OutputName
from railwright.twin.electronic_load import ElectronicLoadServer, TwinElectronicLoad
from railwright.twin.truth import Truth

pytestmark = pytest.mark.alone

OUTPUT = {
    "voltage": "0 V .. 36 V",
    "current": "0 A .. 2 A",
    "ovp": {"level": "1 V .. 38 V"},
    "trip_delay": "2 ms .. 5 s",
}


class _Server(socketserver.ThreadingTCPServer):
    daemon_threads = True
    allow_reuse_address = True

    def __init__(self) -> None:
        self.twin = ElectronicLoadServer(TwinElectronicLoad("sink", load_of(), Truth(1)), lambda: None)
        super().__init__(("127.0.0.1", 0), _Handler)


class _Handler(socketserver.StreamRequestHandler):
    server: _Server

    def handle(self) -> None:
        for line in self.rfile:
            if answer := asyncio.run(self.server.twin.answer(line.rstrip(b"\n"))):
                self.wfile.write(answer.encode() + b"\n")


@pytest.fixture
def load() -> Iterator[_Server]:
    with _Server() as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        yield server
        server.shutdown()


def bench_of_sockets(folder: Path, supply: FakeSupply, load: _Server) -> Path:
    sink: dict[str, Any] = {**LOAD, "address": f"TCPIP::127.0.0.1::{load.server_address[1]}::SOCKET"}
    data = bench_data(
        {"left": {"address": supply.address, "outputs": {"1": OUTPUT}}}, electronic_loads={"sink": sink}
    )
    path = folder / "quay.bench.yaml"
    with path.open("w", encoding="utf-8") as file:
        YAML(typ="safe").dump(data, file)
    return path


def call(path: Path, monkeypatch: pytest.MonkeyPatch) -> Result:
    """The person says at once that everything is unplugged."""
    monkeypatch.setattr("railwright.cli.prove._Asked", lambda load: lambda output, lead: True)
    return CliRunner().invoke(app, ["prove", str(path), "--operator", "A. Keeper", "--json"])


def test_what_is_still_connected_is_found_over_sockets_and_everything_is_off(
    tmp_path: Path, load: _Server, monkeypatch: pytest.MonkeyPatch
) -> None:
    with FakeSupply() as supply:
        supply.outputs[1].resistance = 40.0
        result = call(bench_of_sockets(tmp_path, supply, load), monkeypatch)
        assert result.exit_code == 1, result.stderr
        (stage,) = json.loads(result.stdout)["stages"]
        assert says(stage["lines"][-1]["why"], "flow with the load off", "unplug the device")
        assert stage["not_confirmed"] == ""
        assert not supply.outputs[1].on
        assert not load.twin.load.on


def test_what_leads_nowhere_is_found_and_nothing_is_kept_of_it(
    tmp_path: Path, load: _Server, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(USER_FOLDER, str(tmp_path / "user"))
    with FakeSupply(identity="Invented,M-1,S-1,1.0") as supply:
        supply.outputs[1].resistance = 1e6
        result = call(bench_of_sockets(tmp_path, supply, load), monkeypatch)
        assert result.exit_code == 1, result.stderr
        (stage,) = json.loads(result.stdout)["stages"]
        assert says(stage["lines"][-1]["why"], "pair", "not connected to the load")
        assert not supply.outputs[1].on
    assert not (tmp_path / "user" / "proved").exists()


def test_an_instrument_that_is_not_there_is_told(
    tmp_path: Path, load: _Server, monkeypatch: pytest.MonkeyPatch
) -> None:
    with FakeSupply() as supply:
        path = bench_of_sockets(tmp_path, supply, load)
    result = call(path, monkeypatch)
    assert result.exit_code == 4
    assert len(result.stderr.strip().splitlines()) == 1
    assert not path.with_name("quay.proof.pdf").exists()


@pytest.mark.parametrize(
    ("typed", "ready"),
    [("unplugged\n", True), (" Unplugged \n", True), ("\n", False), ("yes\n", False), ("", False)],
)
def test_only_the_word_says_that_it_is_unplugged(
    typed: str, ready: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    terminal = io.StringIO(typed)
    monkeypatch.setattr(terminal, "isatty", lambda: True, raising=False)
    monkeypatch.setattr("sys.stdin", terminal)
    assert _Asked("sink")(OutputName("left.1"), "pair") is ready


def test_nobody_at_a_terminal_is_no_consent(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO("unplugged\n"))
    assert _Asked("sink")(OutputName("left.1"), "pair") is False
