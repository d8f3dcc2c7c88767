"""Off over every transport that a twin offers, in real time, whoever is dead or hangs: run, guard or both."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from railwright.documents.bench import Bench
from railwright.documents.loader import load_bench
from railwright.twin.launcher import TwinBench

pytestmark = pytest.mark.alone

BENCH = """\
bench: Quay bench
location: dry
ambient: 20 °C ± 5 °C
supplies:
  left:
    ADDRESS
    dialect: channel-list
    outputs:
      1: {voltage: 0 V .. 36 V, current: 0 A .. 2.5 A, fall: {unloaded: 100 ms}, bleeder: 1 kohm}
leads:
  pair: {conductor: AWG 18, one_way_length: 1 m}
"""

TRANSPORTS = {
    "socket": "address: TCPIP::127.0.0.1::5025::SOCKET",
    "HiSLIP": "address: TCPIP::127.0.0.1::hislip0,48880::INSTR",
    "serial, 9600 Bd": "address: ASRLFOLDER/left.tty::INSTR",
    # The slowest that a bench document may have: OFF has 12 ms a character to go.
    "serial, 1200 Bd": "address: ASRLFOLDER/left.tty::INSTR\n    line: {baud: 1200, stop_bits: 2}",
}

RUN = """\
import sys, time
from pathlib import Path
from railwright.documents.loader import load_bench
from railwright.guard.off_plan import InputOff, OffPlan, OutputOff, SupplyOff
from railwright.guard.process_link import ProcessLink

supply = load_bench(Path(sys.argv[1])).model.supplies["left"]
link = ProcessLink()
who = link.open("left", supply.address, "*IDN?", 2.0, supply.session_settings)["answer"]
# As a run, it asks twice: what a session before has left on a slow line is no identification.
for _ in range(5):
    again, who = who, link.exchange("left", "*IDN?", 2.0, answers=True)["answer"]
    if who == again:
        break
else:
    sys.exit("it never said twice in succession who it is")
look = "OUTPut:STATe? (@1);:MEASure:VOLTage? (@1);:FETCh:CURRent? (@1)"
output = OutputOff("left.1", "left", ("OUTPut:STATe OFF,(@1)",), (0, 0), (1, 0), (2, 0), 0.02)
found = SupplyOff("left", supply.address, "*IDN?", who, (look,), session_settings=supply.session_settings)
link.arm(OffPlan((found,), (InputOff("main", (output,), False, 1.0),), decay=5.0, lost=20.0))
link.exchange("left", "VOLT 12,(@1);:CURR 1,(@1);:OUTP ON,(@1);*OPC?", 2.0, answers=True)
print(link.pid, flush=True)
link.sleep(0.3)
if sys.argv[2] == "ends its guard":
    link._process.kill()
    link.begin_off("the guard is gone")
    print(link.finish_off(lambda message: None)["ends"]["main"]["confirmed"], flush=True)
link.sleep(60.0)
"""


class Scene:
    """A supply that a run has switched on through its guard."""

    def __init__(self, twins: TwinBench, bench: Path, does: str = "") -> None:
        self.twins, self.bench = twins, bench
        command = [sys.executable, "-c", RUN, str(bench), does]
        self.run = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
        assert self.run.stdout is not None
        self.guard = int(self.run.stdout.readline())

    def wait_until_on(self) -> None:
        """Until the supply has what it was told: a slow line takes its time."""
        deadline = time.monotonic() + 5.0
        while not self.is_on:
            assert time.monotonic() < deadline
            time.sleep(0.02)

    @property
    def is_on(self) -> bool:
        return any(end is None for _, end in self.twins.energised()["left.1"])

    def off_within(self, seconds: float) -> float:
        """When it was off in truth, from now [s]."""
        began = time.monotonic()
        while self.is_on:
            assert time.monotonic() - began < seconds, "still on"
            time.sleep(0.02)
        return self.twins.energised()["left.1"][-1][1] - began  # type: ignore[operator]

    def off(self) -> tuple[int, str]:
        done = subprocess.run(
            [sys.executable, "-m", "railwright", "off", str(self.bench)],
            capture_output=True,
            text=True,
            timeout=60,
        )
        return done.returncode, done.stdout + done.stderr

    def end(self) -> None:
        for process in (self.run.pid, self.guard):
            for number in (signal.SIGCONT, signal.SIGKILL):
                try:
                    os.kill(process, number)
                except ProcessLookupError:
                    break
        self.run.wait()
        assert self.run.stdout is not None
        self.run.stdout.close()


@pytest.fixture(params=TRANSPORTS, scope="module")
def bench(request: pytest.FixtureRequest) -> Iterator[tuple[Path, Bench, TwinBench]]:
    """A bench with a simulated supply at its own address, over one transport."""
    folder = Path(tempfile.mkdtemp(prefix="rw"))
    path = folder / "quay.bench.yaml"
    path.write_text(
        BENCH.replace("ADDRESS", TRANSPORTS[request.param]).replace("FOLDER", str(folder)), "utf-8"
    )
    model = load_bench(path).model
    with TwinBench(model, ports="bench") as twins:
        yield path, model, twins
    shutil.rmtree(folder, ignore_errors=True)


@pytest.fixture
def scene(
    bench: tuple[Path, Bench, TwinBench], monkeypatch: pytest.MonkeyPatch
) -> Iterator[Callable[..., Scene]]:
    runtime = tempfile.mkdtemp(prefix="rw")
    monkeypatch.setenv("RAILWRIGHT_RUNTIME", runtime)
    path, _, twins = bench
    made: list[Scene] = []

    def make(does: str = "") -> Scene:
        made.append(Scene(twins, path, does))
        made[-1].wait_until_on()
        return made[-1]

    yield make
    for each in made:
        each.end()
    shutil.rmtree(runtime, ignore_errors=True)


def test_a_run_that_is_killed_is_switched_off_by_its_guard(scene: Callable[..., Scene]) -> None:
    here = scene()
    here.run.kill()
    assert here.off_within(2.0) < 1.0


def test_a_run_that_hangs_is_switched_off_by_its_guard(scene: Callable[..., Scene]) -> None:
    here = scene()
    os.kill(here.run.pid, signal.SIGSTOP)
    # After a second without a sign of life. At 1200 Bd a question of 50 characters may be on the line, which
    # takes 0.46 s, before OFF, which takes 0.2 s.
    slowest = "baud: 1200" in here.bench.read_text("utf-8")
    assert here.off_within(3.0) < (1.9 if slowest else 1.8)


def test_a_guard_that_is_gone_is_taken_over_from(scene: Callable[..., Scene]) -> None:
    here = scene("ends its guard")
    here.off_within(4.0)
    assert here.run.stdout is not None
    assert here.run.stdout.readline() == "True\n"


@pytest.mark.parametrize("dead", ["nobody", "guard hangs", "both killed"])
def test_off_by_hand_whoever_is_dead(scene: Callable[..., Scene], dead: str) -> None:
    here = scene()
    if dead == "guard hangs":
        os.kill(here.guard, signal.SIGSTOP)
    elif dead == "both killed":
        os.kill(here.guard, signal.SIGKILL)
        here.run.kill()
    code, told = here.off()
    assert code == 0, told
    assert "off confirmed" in told
    assert not here.is_on
