"""`railwright off`: with and without a guard, whatever else is wrong with the bench document."""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from tests.instruments.fake_supply import FakeSupply
from tests.said import says

from railwright.guard.left_plans import is_guard, left_plans, plan_path
from railwright.guard.link import GuardLost
from railwright.guard.off_plan import InputOff, OffPlan, OutputOff, SupplyOff
from railwright.guard.process_link import ProcessLink
from railwright.running.off_bench import only

BENCH = """\
bench: Quay bench
location: dry
supplies:
  left:
    address: LEFT
    dialect: channel-list
    outputs:
      1: {voltage: 0 V .. 36 V}
      B: {same_as: 1, channel: 2}
  right:
    address: RIGHT
    dialect: selected-output
    outputs:
      1: {}
"""


class Scene:
    """Two fakes with everything on, their bench document, and the command."""

    def __init__(self, left: FakeSupply, right: FakeSupply, folder: Path) -> None:
        self.left, self.right, self.folder = left, right, folder
        self.bench = folder / "quay.bench.yaml"
        self.write(BENCH)
        for fake in (left, right):
            for output in fake.outputs.values():
                output.settings["VOLT"] = "12"
                output.switch(True)

    def write(self, text: str) -> None:
        self.bench.write_text(
            text.replace("LEFT", self.left.address).replace("RIGHT", self.right.address), "utf-8"
        )

    def off(self, *outputs: str) -> tuple[int, list[str]]:
        """Exit code, and the lines of standard output, then of standard error."""
        done = self.start(*outputs)
        out, err = done.communicate(timeout=30)
        return done.returncode, (out + err).splitlines()

    def start(self, *outputs: str) -> subprocess.Popen[str]:
        command = [sys.executable, "-m", "railwright", "off", str(self.bench), *outputs]
        return subprocess.Popen(
            command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, cwd=self.folder
        )

    @property
    def on(self) -> list[str]:
        fakes = {"left": self.left, "right": self.right}
        return [f"{name}.{n}" for name, fake in fakes.items() for n, o in fake.outputs.items() if o.on]

    def plan(self, **changes: Any) -> OffPlan:
        """A run's plan: the gate on left.1 stays on until the drain, on right.1, is confirmed off."""
        address = {"left": self.left.address, "right": self.right.address}
        look = "OUTPut:STATe? (@1);:MEASure:VOLTage? (@1);:FETCh:CURRent? (@1)"
        select = "INSTrument:NSELect 1;:"
        supplies = (
            SupplyOff("left", address["left"], "*IDN?", self.left.identity, (look,)),
            SupplyOff(
                "right", address["right"], "*IDN?", self.right.identity, (select + look.replace(" (@1)", ""),)
            ),
        )
        places = {"state": (0, 0), "voltage": (1, 0), "current": (2, 0), "no_current": 0.01}
        gate = OutputOff("left.1", "left", ("OUTPut:STATe OFF,(@1)",), **places)  # type: ignore[arg-type]
        drain = OutputOff("right.1", "right", (select + "OUTPut:STATe OFF",), **places)  # type: ignore[arg-type]
        inputs = (
            InputOff("gate", (gate,), False, 1.0, **{"only_after": ("drain",), **changes}),
            InputOff("drain", (drain,), False, 1.0),
        )
        return OffPlan(supplies, inputs, decay=2.0, lost=2.0)

    def guarded(self, plan: OffPlan | None = None) -> ProcessLink:
        """A guard that holds both supplies for a run, which is this process."""
        link = ProcessLink()
        for name, fake in (("left", self.left), ("right", self.right)):
            link.open(name, fake.address, "*IDN?", 2.0)
        link.arm(plan or self.plan())
        return link


@pytest.fixture
def scene(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Scene]:
    # Short, as the path of a socket has to be.
    runtime = tempfile.mkdtemp(prefix="rw")
    monkeypatch.setenv("RAILWRIGHT_RUNTIME", runtime)
    with FakeSupply(channels=2) as left, FakeSupply(selected=True) as right:
        yield Scene(left, right, tmp_path)
    shutil.rmtree(runtime, ignore_errors=True)


def told(link: ProcessLink) -> dict[str, Any]:
    """What a run does that is told that it is over: it waits for the end of switching off."""
    deadline = time.monotonic() + 10.0
    while not link.inbox:
        assert time.monotonic() < deadline
        link.wait(link.now() + 0.1)
    assert link.inbox[0]["kind"] == "off begun"
    link.begin_off("the run is told")
    return link.finish_off(lambda message: None)


def runtime() -> Path:
    return Path(os.environ["RAILWRIGHT_RUNTIME"])


def test_without_a_run_everything_goes_off_at_once(scene: Scene) -> None:
    code, lines = scene.off()
    assert (code, scene.on) == (0, [])
    assert {line.partition(", ")[0] for line in lines} == {
        "left.1: off confirmed",
        "left.B: off confirmed",
        "right.1: off confirmed",
    }
    assert "OUTPut:STATe OFF,(@2)" in " ".join(scene.left.units)


@pytest.mark.parametrize(
    ("given", "other"),
    [
        ({"model": "M-1", "serial": "S-1"}, ""),
        ({"model": "M-1"}, ""),
        ({"model": "M-2"}, "M-2"),
        ({"serial": "S-9"}, "S-9"),
        ({"model": "M-1", "serial": "S"}, "S"),  # a part of a serial number is another one
        ({"model": "railwright", "serial": "S-1"}, "railwright"),
    ],
)
def test_another_instrument_at_an_address_is_told_off_and_confirms_nothing(
    scene: Scene, given: dict[str, str], other: str
) -> None:
    keys = "".join(f"    {key}: {value}\n" for key, value in given.items())
    scene.write(BENCH.replace("    dialect: channel-list\n", f"    dialect: channel-list\n{keys}"))
    code, lines = scene.off()
    assert scene.on == []
    assert code == (6 if other else 0)
    left = [line for line in lines if line.startswith("left.")]
    assert len(left) == 2
    for line in left:
        if other:
            assert says(
                line, "OFF NOT CONFIRMED", scene.left.identity, scene.left.address, other, "mains switch"
            )
        else:
            assert says(line, "off confirmed")
    assert any(says(line, "right.1: off confirmed") for line in lines)


@pytest.mark.parametrize(
    ("identity", "code"),
    [
        ("Quayworks,M-1,S-7,1.0", 6),
        ("Quayworks,M-1,0,1.0", 0),  # nothing there tells one of them from another
        ("Quayworks,M-1,,1.0", 0),
    ],
)
def test_two_supplies_of_the_bench_that_are_one_instrument_are_not_both_off(
    scene: Scene, identity: str, code: int
) -> None:
    scene.left.identity = scene.right.identity = identity
    got, lines = scene.off()
    assert (got, scene.on) == (code, [])
    alike = [line for line in lines if says(line, "left and right", "OFF NOT CONFIRMED", identity)]
    assert len(alike) == (1 if code else 0)


def test_only_what_is_named(scene: Scene) -> None:
    assert scene.off("left.B")[0] == 0
    assert scene.on == ["left.1", "right.1"]
    assert scene.off("left", "right.1")[0] == 0
    assert scene.on == []


def test_a_name_that_is_not_there(scene: Scene) -> None:
    code, lines = scene.off("left.2")
    assert code == 2
    assert lines == [
        "expected a supply or an output of the bench (left, right, left.1, left.B, right.1), got 'left.2'"
    ]
    assert len(scene.on) == 3


@pytest.mark.parametrize(
    ("before", "after"),
    [
        ("location: dry", "location: [dry\nsomething: {"),
        ("bench: Quay bench", "bench: @@ {{\n*x"),
        ("{voltage: 0 V .. 36 V}", "{voltage: 0 mV .. , nonsense: 1}"),
        ("{voltage: 0 V .. 36 V}", "{voltage: [0 V}"),
        ("same_as: 1, ", "same_as: nowhere, "),
        ("    outputs:\n      1: {}", "    watchdog: {\n    outputs:\n      1: {}"),
        ("      1: {}", "      1: {}\nleads: ]\n\t- 7\nbench: again"),
        ("supplies:", "SUPPLIES: 3\nsupplies:"),
        ("location: dry\n", ""),
    ],
)
def test_other_mistakes_in_the_document_hold_nobody_up(scene: Scene, before: str, after: str) -> None:
    assert before in BENCH
    scene.write(BENCH.replace(before, after, 1))
    code, lines = scene.off()
    assert (code, scene.on) == (0, []), lines


@pytest.mark.parametrize(
    ("before", "after", "line"),
    [
        ("channel: 2", "channel: two", "left.B: OFF NOT CONFIRMED: no channel is given, and its name 'B'"),
        (
            "channel-list",
            "chanel-list",
            "left.1: OFF NOT CONFIRMED: expected one of the dialects channel-list",
        ),
        (
            "address: LEFT",
            "adress: LEFT",
            "left.1: OFF NOT CONFIRMED: the bench document gives no address",
        ),
    ],
)
def test_a_mistake_of_one_supply_is_said_and_the_others_go_off(
    scene: Scene, before: str, after: str, line: str
) -> None:
    scene.write(BENCH.replace(before, after, 1))
    code, lines = scene.off()
    assert code == 6
    assert "right.1" not in scene.on
    assert any(each.startswith(line) for each in lines), lines


def test_a_supply_that_a_broken_document_hides_is_not_forgotten(scene: Scene) -> None:
    scene.write(BENCH.replace("  right:\n    address", "}{ [\n 'right:\n    address"))
    code, lines = scene.off()
    assert code == 6
    assert any(scene.right.address in line and "OFF NOT CONFIRMED" in line for line in lines), lines


def test_no_bench(scene: Scene) -> None:
    scene.write("procedure: Something\nbench: quay.bench.yaml\n")
    code, lines = scene.off()
    assert code == 2
    assert lines[0].endswith(
        "expected a bench document with 'supplies', got none in it; it names 'quay.bench.yaml': give that one"
    )
    scene.bench.unlink()
    os.mkfifo(scene.bench)
    code, lines = scene.off()
    assert code == 2
    assert "got a pipe" in lines[0]


def test_a_silent_supply_delays_no_other_and_is_named(scene: Scene) -> None:
    scene.right.silent = True
    command = scene.start()
    assert command.stdout is not None
    lines = [command.stdout.readline() for _ in range(3)]
    assert [line.partition(": ")[0] for line in lines] == ["left.1", "left.B", "right"]
    assert says(lines[2], "right", "1 s", "10 s", "mains")
    # It did go off, but nobody can read that.
    assert scene.on == []
    command.send_signal(signal.SIGINT)
    out, _ = command.communicate(timeout=10)
    assert command.returncode == 6
    assert says(out, "right.1", "OFF NOT CONFIRMED", "right", "1 s")


def test_a_live_guard_switches_off_in_its_order_and_ends_the_run(scene: Scene) -> None:
    link = scene.guarded()
    order: list[str] = []
    scene.left.on_unit = lambda unit: order.append(unit) if "STATe OFF,(@1)" in unit else None
    scene.right.on_unit = lambda unit: order.append("drain") if unit == "OUTPut:STATe OFF" else None
    command = scene.start()
    over = told(link)
    link.close()
    out, err = command.communicate(timeout=20)
    assert command.returncode == 0, out + err
    assert scene.on == []
    assert over["why"] == "switched off by 'railwright off'"
    assert (order[0], order[-1]) == ("drain", "OUTPut:STATe OFF,(@1)")
    lines = {line.partition(", ")[0] for line in out.splitlines()}
    # left.B is in no plan; the command switched it off itself.
    assert lines == {
        "left.1 (gate): off confirmed",
        "right.1 (drain): off confirmed",
        "left.B: off confirmed",
    }
    assert list(runtime().glob("plan-*")) == []


@pytest.mark.parametrize(
    ("switch_says", "told_of_it"), [("0", "off"), ("1", "NOT READ TO BE OFF: it still says that it is on")]
)
def test_what_a_live_guard_reads_of_a_master_switch_is_told(
    switch_says: str, told_of_it: str, scene: Scene
) -> None:
    left, right = scene.plan().supplies
    scene.right.answers["*OPT?"] = switch_says
    look = tuple(f"{each};*OPT?" for each in right.look)
    mastered = replace(right, look=look, master=("OUTPut:STATe OFF",), master_state=(3, 0))
    link = scene.guarded(replace(scene.plan(), supplies=(left, mastered)))
    command = scene.start()
    told(link)
    link.close()
    out, err = command.communicate(timeout=20)
    assert [line for line in (out + err).splitlines() if "master switch" in line] == [
        f"right: master switch {told_of_it}"
    ]


def test_naming_an_output_of_a_run_ends_the_run(scene: Scene) -> None:
    link = scene.guarded(scene.plan(only_after=(), stays_on="keeps the bias"))
    command = scene.start("right.1")
    told(link)
    link.close()
    out, _ = command.communicate(timeout=20)
    assert command.returncode == 0
    assert scene.on == ["left.1", "left.2"]
    assert "a run is going on there: everything of it goes off, in its order" in out
    assert says(out, "left.1", "gate", "keeps the bias", "left.1")
    assert scene.off("left.1")[0] == 0
    assert scene.on == ["left.2"]


def test_a_guard_that_hangs_is_gone_round_in_its_order_and_ended(scene: Scene) -> None:
    link = scene.guarded()
    os.kill(link.pid, signal.SIGSTOP)
    off_at: dict[str, float] = {}
    scene.left.on_unit = lambda unit: (
        off_at.setdefault("gate", time.monotonic()) and None if ("STATe OFF,(@1)" in unit) else None
    )
    scene.right.on_unit = lambda unit: (
        off_at.setdefault("drain", time.monotonic()) and None if (unit == "OUTPut:STATe OFF") else None
    )
    code, lines = scene.off()
    assert (code, scene.on) == (0, []), lines
    assert off_at["drain"] < off_at["gate"]
    assert says(lines[0], "guard", link.pid)
    assert says(lines[-1], "guard", link.pid, "ended")
    link._process.wait(5.0)
    link.close()


def test_where_a_supply_takes_one_client_the_guard_is_ended(scene: Scene) -> None:
    link = scene.guarded()
    os.kill(link.pid, signal.SIGSTOP)
    scene.right.one_client = True
    code, lines = scene.off()
    assert (code, scene.on) == (0, []), lines
    ended = f"the guard of the run (process {link.pid}) was ended: right lets nobody else in"
    assert any(line.startswith(ended) for line in lines), lines
    link._process.wait(5.0)
    link.close()


def test_a_guard_that_is_through_and_stays_is_ended_where_a_supply_takes_one_client(scene: Scene) -> None:
    link = scene.guarded()
    scene.left.one_client = True
    command = scene.start()
    told(link)
    # The run hangs here: it shows life, and lets nothing go.
    while command.poll() is None:
        with suppress(GuardLost):
            link.sleep(0.1)
    out = command.stdout.read() if command.stdout is not None else ""
    assert (command.returncode, scene.on) == (0, []), out
    assert "left.1 (gate): off confirmed" in out
    assert says(out, "guard", link.pid, "ended", "left")
    assert "left.B: off confirmed" in out
    link.close()


def test_the_plan_of_a_guard_that_was_killed_is_used_once(scene: Scene) -> None:
    link = scene.guarded()
    os.kill(link.pid, signal.SIGKILL)
    link._process.wait(5.0)
    assert [path for path, _ in left_plans(runtime())] == [plan_path(runtime(), link.pid)]
    order: list[str] = []
    scene.left.on_unit = lambda unit: order.append("gate") if "STATe OFF,(@1)" in unit else None
    scene.right.on_unit = lambda unit: order.append("drain") if unit == "OUTPut:STATe OFF" else None
    code, lines = scene.off()
    assert (code, scene.on) == (0, []), lines
    assert says(lines[0], "off plan", "killed")
    assert list(dict.fromkeys(order)) == ["drain", "gate"]
    assert order[-1] == "gate"
    assert list(runtime().glob("plan-*")) == []
    assert "gate" not in " ".join(scene.off()[1])


def test_a_gate_alone_goes_off_with_a_caution(scene: Scene) -> None:
    link = scene.guarded()
    os.kill(link.pid, signal.SIGKILL)
    link._process.wait(5.0)
    code, lines = scene.off("left.1")
    assert code == 0
    assert scene.on == ["left.2", "right.1"]
    assert any(says(line, "caution", "gate", "drain") for line in lines)
    assert list(runtime().glob("plan-*")) != []


def test_a_fault_of_the_program_is_said_and_leaves_nothing_waiting(scene: Scene) -> None:
    data = json.loads(scene.plan().to_json())
    data["inputs"][1]["below"] = "one volt"
    plan_path(runtime(), 2**22 + 1).write_text(json.dumps(data), "utf-8")
    code, lines = scene.off()
    assert (code, scene.on) == (6, ["left.1"]), lines
    assert any(says(line, "right.1", "drain", "OFF NOT CONFIRMED", "fault") for line in lines)
    assert any(says(line, "left.1", "gate", "OFF NOT CONFIRMED", "drain") for line in lines)


def test_a_part_of_a_plan_leaves_the_watchdog_of_a_supply_with_further_outputs(scene: Scene) -> None:
    plan = scene.plan()
    gate = plan.inputs[0]
    both = replace(gate, name="other", outputs=(replace(gate.outputs[0], name="left.2"),))
    watched = tuple(replace(each, watchdog=("WATC OFF", "WATC?")) for each in plan.supplies)
    plan = replace(plan, supplies=watched, inputs=(*plan.inputs, both))
    part = only(plan, frozenset(("left.1", "right.1")))
    assert [(each.name, each.watchdog != ()) for each in part.supplies] == [("left", False), ("right", True)]
    assert [each.name for each in part.inputs] == ["gate", "drain"]


def test_a_plan_of_other_supplies_is_left_alone(scene: Scene) -> None:
    other = json.loads(scene.plan().to_json())
    other["supplies"][0]["address"] = "TCPIP::127.0.0.1::9::SOCKET"
    path = plan_path(runtime(), 2**22 + 1)
    path.write_text(json.dumps(other), "utf-8")
    broken = plan_path(runtime(), 2**22 + 2)
    broken.write_text("{", "utf-8")
    os.mkfifo(plan_path(runtime(), 2**22 + 3))
    code, lines = scene.off()
    assert (code, scene.on) == (0, [])
    assert all("plan" not in line for line in lines)
    assert path.exists()


def test_a_plan_is_forgotten_when_another_run_arms(scene: Scene) -> None:
    left = plan_path(runtime(), 2**22 + 1)
    left.write_text(scene.plan().to_json(), "utf-8")
    link = scene.guarded()
    deadline = time.monotonic() + 5.0
    while left.exists():
        assert time.monotonic() < deadline
        time.sleep(0.01)
    link.begin_off("the end")
    link.finish_off(lambda message: None)
    link.close()
    assert list(runtime().glob("plan-*")) == []


def test_no_other_process_is_taken_for_a_guard() -> None:
    assert not is_guard(os.getpid())
    assert not is_guard(2**22 + 1)


def test_its_help_stands_among_the_others() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "railwright", "off", "--help"], capture_output=True, text=True
    )
    assert done.returncode == 0
    assert "OUTPUT" in done.stdout


def test_it_imports_no_library_that_is_slow_to_start(scene: Scene) -> None:
    code = (
        "import sys\nfrom railwright.cli.off_now import off_now\n"
        f"code = off_now({str(scene.bench)!r}, [])\n"
        "slow = {'numpy', 'numba', 'pydantic', 'pint', 'typer', 'pyvisa'}\n"
        "print(int(code), sorted(slow & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert done.stdout.splitlines()[-1] == "0 []", done.stderr
