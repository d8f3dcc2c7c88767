"""A log in real time: through the guard of a run, killed, interrupted, and what the command says."""

from __future__ import annotations

import datetime as dt
import json
import shutil
import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from tests.instruments.fake_supply import FakeSupply
from tests.running.stage import OUTPUT
from tests.said import says

from railwright.cli.exits import guarded
from railwright.cli.watch import watch as command
from railwright.documents.loader import load_bench
from railwright.guard.locks import holder_of
from railwright.guard.process_link import ProcessLink
from railwright.instruments.guarded import open_guarded
from railwright.instruments.supply import SupplyDriver
from railwright.watching.bench_watch import NOT_BY_RUN
from railwright.watching.watch import watch

BENCH = """\
bench: Quay bench
location: dry
ambient: 23 °C
supplies:
  left:
    address: LEFT
    dialect: DIALECT
    outputs: {1: OUTPUT, 2: {same_as: 1}}
leads:
  pair: {conductor: AWG 18, one_way_length: 1 m}
"""


@pytest.fixture(autouse=True)
def runtime(monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    # Short, as the path of a socket has to be.
    folder = Path(tempfile.mkdtemp(prefix="rw"))
    monkeypatch.setenv("RAILWRIGHT_RUNTIME", str(folder))
    yield folder
    shutil.rmtree(folder, ignore_errors=True)


@pytest.fixture
def left() -> Iterator[FakeSupply]:
    with FakeSupply(channels=2) as supply:
        for output in supply.outputs.values():
            output.settings["VOLT"] = "12"
            output.switch(True)
        yield supply


@pytest.fixture
def bench(left: FakeSupply, tmp_path: Path) -> Path:
    return written(tmp_path, left.address)


def written(folder: Path, address: str, dialect: str = "channel-list") -> Path:
    path = folder / "quay.bench.yaml"
    text = BENCH.replace("LEFT", address).replace("DIALECT", dialect).replace("OUTPUT", OUTPUT)
    path.write_text(text, "utf-8")
    return path


def until(true: Callable[[], object], limit: float = 10.0) -> None:
    end = time.monotonic() + limit
    while not true():
        assert time.monotonic() < end
        time.sleep(0.01)


@pytest.mark.alone
def test_what_a_run_reads_is_read_through_its_guard_and_by_itself_afterwards(
    left: FakeSupply, bench: Path, tmp_path: Path
) -> None:
    link = ProcessLink()
    driver = SupplyDriver("supply", load_bench(bench).model.supplies["left"], open_guarded(link))
    driver.connect()
    driver.identify()
    asked = left.units.count("*IDN?")
    messages = driver.look(("1",))
    link.poll("supply", "readings", messages, start=link.now(), every=0.05, deadline=1.0, outputs=["1"])
    seen: list[int] = []

    def end_of_run() -> None:
        seen.append(left.units.count("*IDN?"))
        link.close()

    threading.Timer(0.8, end_of_run).start()
    log = watch(bench, ["left"], every="100 ms", until=["2 s"], folder=tmp_path / "log")
    assert seen == [asked]  # nobody else asked it anything while the run held it
    frame = log.to_dataframe()
    assert len(frame) == 21
    through = frame[frame["time_s"] < 0.6]
    assert (through["left.1_voltage_V"] == 12.0).sum() >= 4
    # The run does not read the other output, and nobody asks for it.
    assert through["left.2_voltage_V"].isna().all()
    assert (through["missed"] == f"left.2: {NOT_BY_RUN}").sum() >= 4
    after = frame[frame["time_s"] > 1.6]
    assert (after[["left.1_voltage_V", "left.2_voltage_V"]] == 12.0).all(axis=None)
    assert log.outcome.lost == {"left": 0}
    assert all(output.on for output in left.outputs.values())


@pytest.mark.alone
def test_a_log_that_was_killed_is_there_up_to_the_last_second(
    left: FakeSupply, bench: Path, tmp_path: Path, runtime: Path
) -> None:
    asked = [str(bench), "left.1", "--every", "20 ms", "--as", "parquet", "--to", str(tmp_path / "log"), "-q"]
    log = subprocess.Popen([sys.executable, "-m", "railwright", "watch", *asked])
    rows = tmp_path / "log" / "rows-0001.csv"
    until(lambda: rows.exists() and rows.read_bytes().count(b"\n") > 50)
    log.send_signal(signal.SIGKILL)
    killed = time.time()
    log.wait(5.0)
    # Nothing is switched by it, and its guard lets go of the supply.
    until(lambda: holder_of(left.address, runtime) is None)
    assert all(output.on for output in left.outputs.values())
    text = rows.read_text("utf-8")
    assert text.endswith("\n")
    header, *lines = text.splitlines()
    assert all(line.count(",") == header.count(",") for line in lines)
    last = dt.datetime.fromisoformat(lines[-1].split(",")[1]).timestamp()
    assert -0.1 < killed - last < 1.0
    assert json.loads((tmp_path / "log" / "watch.json").read_text("utf-8"))["ended"] is None


@pytest.mark.alone
def test_ctrl_c_is_how_a_log_without_an_end_ends(bench: Path, tmp_path: Path) -> None:
    asked = [str(bench), "--every", "50 ms", "--to", str(tmp_path / "log")]
    log = subprocess.Popen(
        [sys.executable, "-m", "railwright", "watch", *asked],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    rows = tmp_path / "log" / "rows-0001.csv"
    until(lambda: rows.exists() and rows.read_bytes().count(b"\n") > 5)
    log.send_signal(signal.SIGINT)
    out, err = log.communicate(timeout=10)
    assert log.returncode == 0
    assert says(out.splitlines()[0], "ended", "SIGINT", "rows")
    assert [line for line in err.splitlines() if says(line, "left", "no run can begin")] == err.splitlines()
    ended = json.loads((tmp_path / "log" / "watch.json").read_text("utf-8"))
    assert ended["rows"] == rows.read_bytes().count(b"\n") - 1


def said_with(capsys: pytest.CaptureFixture[str], code: int, *given: object, **asked: object) -> list[str]:
    """What the command says on standard error; it ends with this code."""
    with pytest.raises(SystemExit) as ended:
        guarded(command)(*given, **asked)
    assert ended.value.code == code
    return capsys.readouterr().err.splitlines()


@pytest.mark.parametrize(
    ("asked", "named"),
    [
        ({"every": "0 s"}, ("--every", "above 0", "0 s")),
        ({"begin": ["3 rows"]}, ("--from", "3 rows")),
        ({"until": ["left.1 power above 3 W"]}, ("--until", "left.1 power")),
        ({"change": ["1 ohm"]}, ("--change", "1 ohm")),
        ({"form": "xls"}, ("--as", "xls")),
        ({"file_lasts": "1 ms"}, ("--file-for", "1 ms")),
        ({"outputs": ["right"]}, ("left", "right")),
    ],
)
def test_what_serves_not_is_one_line_and_nothing_is_asked(
    bench: Path,
    left: FakeSupply,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    asked: dict[str, object],
    named: tuple[str, ...],
) -> None:
    (line,) = said_with(capsys, 2, bench, to=tmp_path / "log", **asked)
    assert says(line, *named)
    assert left.units == []
    assert not (tmp_path / "log").exists()


def test_a_supply_that_selects_needs_leave(
    left: FakeSupply, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = written(tmp_path, left.address, "selected-output")
    (line,) = said_with(capsys, 2, path, to=tmp_path / "log", quiet=True)
    assert says(line, "left", "INSTrument:NSELect 1", "--select")
    assert left.units == []


def test_a_supply_that_is_not_there_is_an_instrument_that_failed(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = written(tmp_path, "TCPIP::127.0.0.1::1::SOCKET")
    (line,) = said_with(capsys, 4, path, to=tmp_path / "log", quiet=True)
    assert says(line, "left")
    assert not (tmp_path / "log").exists()


def test_a_folder_in_use_is_refused(
    bench: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], left: FakeSupply
) -> None:
    (line,) = said_with(capsys, 2, bench, to=tmp_path, quiet=True)
    assert says(line, tmp_path, "empty")
    assert left.units == []
