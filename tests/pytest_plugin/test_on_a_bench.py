"""The plugin with a bench that is energised: the small bench's fake supplies, over sockets, in real time."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
import xml.etree.ElementTree as ET
from collections.abc import Iterator
from pathlib import Path

import pytest
from tests.running.small import PROCEDURE, Small, small

REQUIRES = """requires:
  - {name: level, measure: high_state_level, of: main, during: steady, between: 11.5 V .. 12.5 V}
  - {name: wrong, measure: high_state_level, of: main, during: steady, between: 5 V .. 6 V}
"""
WAITS = """  - shape: {input: main, segments: [{hold: 50 ms, wait_for: key}], time_out: 20 s}
    name: sweep
"""
TEST = """
import pathlib, time

def test_it(energised):
    with energised("procedures/short.procedure.yaml") as power:
        assert 11 < power["main"].voltage < 13
        pathlib.Path("on").touch()
        time.sleep(15)
"""


@pytest.fixture
def bench(tmp_path: Path, request: pytest.FixtureRequest) -> Iterator[Small]:
    steps = PROCEDURE
    if request.node.originalname == "test_outputs_go_off_however_pytest_ends":
        begin, rest = steps.split("  - sweep:")
        steps = f"{begin}{WAITS}{rest[rest.index('  - power_down') :]}"
    with small(tmp_path, steps + REQUIRES) as made:
        yield made


def command(bench: Small, *more: str) -> list[str]:
    options = ("--bench", str(bench.folder / "bench.yaml"), "--energise", "--bench-unit", "S-1")
    plugin = ("-p", "railwright.pytest_plugin", "-p", "no:cacheprovider", "--junitxml=j.xml")
    return [sys.executable, "-m", "pytest", *plugin, *options, "--bench-operator", "A. Keeper", *more]


def environment() -> dict[str, str]:
    return {**os.environ, "PYTEST_DISABLE_PLUGIN_AUTOLOAD": "1"}


@pytest.mark.alone
def test_requirements_are_judged_on_the_bench_of_the_command_line(bench: Small) -> None:
    done = subprocess.run(
        command(bench), cwd=bench.folder, env=environment(), capture_output=True, text=True, check=False
    )
    assert done.returncode == pytest.ExitCode.TESTS_FAILED, done.stdout + done.stderr
    assert bench.ever_on
    assert bench.everything_off
    found = {case.attrib["name"]: case for case in ET.parse(bench.folder / "j.xml").iter("testcase")}
    told = {
        name: {each.attrib["name"]: each.attrib["value"] for each in case.iter("property")}
        for name, case in found.items()
    }
    assert {name: each["outcome"] for name, each in told.items()} == {"level": "pass", "wrong": "fail"}
    (run,) = {bench.folder / each["run"] for each in told.values()}
    assert run.parent == bench.folder / "runs"
    assert {each["played_on"] for each in told.values()} == {f"bench {bench.folder / 'bench.yaml'}"}
    (line,) = [line for line in done.stdout.splitlines() if line.startswith(f"runs/{run.name}")]
    assert "off confirmed" in line
    assert "fail" in line


@pytest.mark.alone
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGKILL], ids=lambda each: each.name)
def test_outputs_go_off_however_pytest_ends(bench: Small, number: signal.Signals) -> None:
    (bench.folder / "test_it.py").write_text(TEST, "utf-8")
    with subprocess.Popen(
        command(bench, "test_it.py"),
        cwd=bench.folder,
        env=environment(),
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    ) as child:
        end = time.monotonic() + 60.0
        while not (bench.folder / "on").exists():
            assert child.poll() is None
            assert time.monotonic() < end
            time.sleep(0.02)
        assert not bench.everything_off
        child.send_signal(number)
        sent = time.monotonic()
        while not bench.everything_off:
            assert time.monotonic() < sent + 3.0
            time.sleep(0.02)
        assert child.wait(20.0) == (pytest.ExitCode.INTERRUPTED if number is signal.SIGINT else -number)
