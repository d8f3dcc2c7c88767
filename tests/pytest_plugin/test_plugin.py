"""The pytest plugin in projects of their own, each in a folder that a test makes.

The level of the station's input is 12 V, as its procedure sets it: from that alone follows what passes, what
fails, and, with a limit closer to it than the supply's accuracy of some millivolts, what stays inconclusive.
"""

from __future__ import annotations

import json
import re
import shutil
import socket
import subprocess
import sys
import threading
import time
import tomllib
import xml.etree.ElementTree as ET
from collections.abc import Iterator
from importlib import import_module
from importlib.util import find_spec
from pathlib import Path

import pytest
from tests.bench import edit
from tests.said import says
from tests.truth.saying import head

import railwright as rw
from railwright.examples import example

pytest_plugins = ["pytester"]

OURS = ("-p", "railwright.pytest_plugin", "-W", "ignore::pytest.PytestAssertRewriteWarning")
LEVEL = (
    "  - {{name: {name}, measure: high_state_level, of: main, during: steady, "
    "between: {low} V .. {high} V}}\n"
)
TRACE = re.compile(r"Traceback|\.py:\d")
THREE = "".join(
    LEVEL.format(name=name, low=low, high=high)
    for name, low, high in (("right", 11.5, 12.5), ("too low", 8.0, 9.0), ("too close", 11.9939, 12.5))
)
STEADY = """  - hold: 500 ms
    name: steady
"""
REPEATS = """  - shape: {input: main, segments: [{hold: 20 ms}], repeat_until: key, at_most: 5 s}
    name: steady
"""
WAITS = """  - shape: {input: main, segments: [{hold: 100 ms, wait_for: key}], time_out: 5 s}
    name: steady
"""
END = """  - power_down: {order: [transducer, main], gap: 20 ms}
record: {every: 10 ms}
"""


@pytest.fixture(scope="module", autouse=True)
def _loaded(tmp_path_factory: pytest.TempPathFactory) -> None:
    """Whatever is imported for a run, or for a mistake in a document, is there: a project in this process
    forgets what it imported itself, and there are libraries that cannot be imported twice.
    """
    place = tmp_path_factory.mktemp("loaded")
    shutil.copytree(example(), place, dirs_exist_ok=True)
    path = place / "level.procedure.yaml"
    path.write_text(f"procedure: level\n{head()}{WAITS}{END}requires:\n{THREE}", "utf-8")
    with rw.open(path).check().energised(unit="1", operator="O", twins=True, folder=place / "run") as power:
        assert len(power) == 2
    assert len(power.run.evaluate().rows()) == 3
    edit(path, "gap: 50 ms", "gap: 50 mV")
    with pytest.raises(rw.DocumentErrors):
        rw.open(path)
    for name in ("items", "powered"):
        assert import_module(f"railwright.pytest_plugin.{name}")


@pytest.fixture
def project(pytester: pytest.Pytester, monkeypatch: pytest.MonkeyPatch) -> pytest.Pytester:
    """A project with the station's documents, and no plugin but those that a test names."""
    monkeypatch.setenv("PYTEST_DISABLE_PLUGIN_AUTOLOAD", "1")
    monkeypatch.delenv("PYTEST_ADDOPTS", raising=False)
    for path in example().glob("*.yaml"):
        if not path.name.endswith(".procedure.yaml"):
            shutil.copy(path, pytester.path)
    return pytester


def procedure(
    project: pytest.Pytester, requires: str = THREE, steps: str = STEADY, name: str = "level"
) -> Path:
    path = project.path / f"{name}.procedure.yaml"
    path.write_text(f"procedure: {name}\n{head()}{steps}{END}requires:\n{requires}", "utf-8")
    return path


def cases(project: pytest.Pytester) -> dict[str, ET.Element]:
    """Test cases of the JUnit report by their names."""
    return {each.attrib["name"]: each for each in ET.parse(project.path / "j.xml").iter("testcase")}


def properties(case: ET.Element) -> dict[str, str]:
    return {each.attrib["name"]: each.attrib["value"] for each in case.iter("property")}


def test_each_requirement_is_an_item_with_its_values(project: pytest.Pytester) -> None:
    procedure(project)
    begin = time.monotonic()
    done = project.runpytest_inprocess(*OURS, "--junitxml=j.xml", "-v")
    took = time.monotonic() - begin
    done.assert_outcomes(passed=1, failed=2)
    assert done.ret == pytest.ExitCode.TESTS_FAILED
    found = cases(project)
    assert list(found) == ["right", "too low", "too close"]
    told = {name: properties(case) for name, case in found.items()}
    assert [each["outcome"] for each in told.values()] == ["pass", "fail", "inconclusive"]
    messages = {name: [f.attrib["message"] for f in case.iter("failure")] for name, case in found.items()}
    assert messages["right"] == []
    for name, outcome in (("too low", "fail"), ("too close", "inconclusive")):
        (message,) = messages[name]
        assert outcome in message
    right = told["right"]
    assert float(right["value"]) == pytest.approx(12.0, abs=0.02)
    assert float(right["low"]) < float(right["value"]) < float(right["high"])
    assert (right["unit"], right["of"], right["during"], right["measure"]) == (
        *("V", "main", "steady"),
        "high_state_level",
    )
    assert [float(right[key]) for key in ("lower_limit", "upper_limit")] == [11.5, 12.5]
    assert right["played_on"] == "simulated supplies"
    # One run for all of them, whose record is kept.
    (folder,) = {each["run"] for each in told.values()}
    assert (Path(folder) / "evaluations" / "01.json").is_file()
    # Times of a clock: the whole run is in them, and nothing that was not.
    times = [float(case.attrib["time"]) for case in found.values()]
    assert 0.3 < times[0] < took
    assert sum(times) < took
    assert max(times[1:]) < 0.1


def test_a_run_that_ends_early_passes_nothing(project: pytest.Pytester) -> None:
    """Of what was measured until then, too: here nobody presses the key."""
    later = WAITS.replace("5 s", "300 ms").replace("steady", "later")
    procedure(project, THREE.splitlines()[0] + "\n", STEADY + later)
    done = project.runpytest_inprocess(*OURS, "--junitxml=j.xml")
    done.assert_outcomes(failed=1)
    (case,) = cases(project).values()
    (failure,) = case.iter("failure")
    assert says(failure.attrib["message"], "inconclusive", "300 ms")


def test_what_is_wrong_with_a_document_or_its_check_is_told_in_its_line(project: pytest.Pytester) -> None:
    broken = procedure(project, name="broken")
    line = edit(broken, "gap: 50 ms", "gap: 50 mV")
    done = project.runpytest_inprocess(*OURS)
    assert done.ret == pytest.ExitCode.INTERRUPTED
    assert sum(f"broken.procedure.yaml:{line}:" in each for each in done.outlines) == 1
    assert not any(TRACE.search(each) for each in done.outlines)
    broken.unlink()
    blocked = procedure(project, name="blocked")
    edit(blocked, "ovp: 18 V", "ovp: 37 V")
    done = project.runpytest_inprocess(*OURS)
    done.assert_outcomes(errors=3)
    assert sum("ovp-above-withstand" in each for each in done.outlines) >= 3
    assert not any(TRACE.search(each) for each in done.outlines)


def test_a_run_is_played_once_in_whichever_order_its_items_come(project: pytest.Pytester) -> None:
    """A plugin that mixes tests of several files, as some do, energises nothing again."""
    procedure(project)
    project.makepyfile(test_a="def test_a():\n    pass", test_b="def test_b():\n    pass")
    project.makeconftest(
        """
        def pytest_collection_modifyitems(items):
            items[:] = [items[place] for place in (0, 3, 1, 4, 2)]
        """
    )
    done = project.runpytest_inprocess(*OURS, "--junitxml=j.xml")
    done.assert_outcomes(passed=3, failed=2)
    found = cases(project)
    assert list(found) == ["right", "test_a", "too low", "test_b", "too close"]
    assert len({properties(found[name])["run"] for name in ("right", "too low", "too close")}) == 1


def test_copies_in_the_folder_of_a_run_are_no_tests(project: pytest.Pytester) -> None:
    copy = procedure(project)
    place = project.mkdir("runs") / "level-1" / "documents"
    place.mkdir(parents=True)
    (place.parent / "run.json").write_text("{}", "utf-8")
    copy.rename(place / copy.name)
    done = project.runpytest_inprocess(*OURS, "--collect-only", "-q")
    assert done.ret == pytest.ExitCode.NO_TESTS_COLLECTED
    (place.parent / "run.json").unlink()
    done = project.runpytest_inprocess(*OURS, "--collect-only", "-q")
    assert any("level.procedure.yaml" in line for line in done.errlines + done.outlines)


POWERED = """
import time
import pytest
import railwright as rw

def test_inside(energised):
    with energised("level.procedure.yaml") as power:
        first = power["main"]
        assert abs(first.voltage - 12) < 0.1
        begin = time.monotonic()
        while power["main"].time - first.time < 0.3:
            assert time.monotonic() - begin < 5
            time.sleep(0.01)
        assert time.monotonic() - begin > 0.25
    assert power.run.off_confirmed
    with pytest.raises(rw.NotEnergised):
        power["main"]
"""
BROKEN = """
def test_raises(energised):
    with energised("level.procedure.yaml") as power:
        assert power["main"].voltage > 50
"""


def test_a_test_is_given_an_energised_input_and_what_came_of_it(project: pytest.Pytester) -> None:
    procedure(project, THREE.splitlines()[0] + "\n", WAITS)
    project.makepyfile(test_it=POWERED)
    done = project.runpytest_inprocess(*OURS, "--junitxml=j.xml", "test_it.py")
    done.assert_outcomes(passed=1)
    (case,) = cases(project).values()
    told = properties(case)
    assert told["right: outcome"] == "pass"
    assert float(told["right: value"]) == pytest.approx(12.0, abs=0.02)
    run = Path(told["right: run"])
    about = json.loads((run / "run.json").read_text("utf-8"))
    assert (about["ended"], about["off_confirmed"]) == ("completed", True)
    assert float(case.attrib["time"]) > 0.3


def test_a_test_fails_with_what_its_run_did_not_pass(project: pytest.Pytester) -> None:
    """Here the key ends a repeating."""
    procedure(project, THREE, REPEATS)
    project.makepyfile(test_it=POWERED)
    done = project.runpytest_inprocess(*OURS, "--junitxml=j.xml", "test_it.py")
    done.assert_outcomes(failed=1)
    (case,) = cases(project).values()
    (failure,) = case.iter("failure")
    message = failure.attrib["message"]
    assert says(message, "too low: fail", "too close: inconclusive")
    assert "right" not in message


def test_a_test_that_raises_ends_its_run_with_outputs_off(project: pytest.Pytester) -> None:
    procedure(project, THREE, WAITS)
    project.makepyfile(test_it=BROKEN)
    done = project.runpytest_inprocess(*OURS, "--junitxml=j.xml", "test_it.py")
    done.assert_outcomes(failed=1)
    (case,) = cases(project).values()
    (failure,) = case.iter("failure")
    assert "voltage > 50" in failure.attrib["message"] + str(failure.text)
    run = Path(properties(case)["right: run"])
    about = json.loads((run / "run.json").read_text("utf-8"))
    assert (about["ended"], about["off_confirmed"]) == ("interrupted", True)


@pytest.mark.parametrize(
    ("steps", "wanted"),
    [
        (STEADY, ("waits for a key", "none")),
        (f"{WAITS}{WAITS.replace('steady', 'again')}", ("waits for a key", "'steady', 'again'")),
        (WAITS.replace("5 s", "300 ms"), ("no longer waited", "300 ms")),
        (
            WAITS.replace("5 s", "300 ms").replace("key", "trigger").replace("steady", "early") + WAITS,
            ("never waited", "300 ms"),
        ),
    ],
    ids=["nowhere", "twice", "too short", "trips before"],
)
def test_a_block_that_cannot_be_energised_fails_in_a_line(
    project: pytest.Pytester, steps: str, wanted: tuple[str, ...]
) -> None:
    procedure(project, THREE.splitlines()[0] + "\n", steps)
    project.makepyfile(
        test_it="""
        import time

        def test_it(energised):
            with energised("level.procedure.yaml"):
                time.sleep(0.6)
        """
    )
    done = project.runpytest_inprocess(*OURS, "--junitxml=j.xml", "test_it.py")
    done.assert_outcomes(failed=1)
    (failure,) = ET.parse(project.path / "j.xml").iter("failure")
    assert says(failure.attrib["message"], *wanted)
    assert not any(TRACE.search(each) for each in done.outlines)


@pytest.fixture
def listeners(project: pytest.Pytester) -> Iterator[list[bytes]]:
    """Whatever was sent to the addresses of the bench, where something listens as supplies would; and what
    connected, as an empty piece.
    """
    came: list[bytes] = []
    sockets = []
    text = (project.path / "quay.bench.yaml").read_text("utf-8")

    def listen(own: socket.socket) -> None:
        while True:
            try:
                connection, _ = own.accept()
            except OSError:
                return
            came.append(b"")
            with connection:
                connection.settimeout(5.0)
                try:
                    while piece := connection.recv(4096):
                        came.append(piece)
                except OSError:
                    pass

    for port in ("5025", "5026"):
        own = socket.create_server(("127.0.0.1", 0))
        assert text.count(f"::{port}::") == 1
        text = text.replace(f"::{port}::", f"::{own.getsockname()[1]}::")
        sockets.append(own)
        threading.Thread(target=listen, args=(own,), daemon=True).start()
    (project.path / "quay.bench.yaml").write_text(text, "utf-8")
    yield came
    for own in sockets:
        own.shutdown(socket.SHUT_RDWR)
        own.close()


REFUSED = {
    "bench alone": (("--bench", "quay.bench.yaml"), ("--energise",)),
    "energise alone": (("--energise",), ("--bench",)),
    "no such file": (("--bench", "nothing.yaml", "--energise"), ("--bench", "nothing.yaml")),
    "nobody": (("--bench=quay.bench.yaml", "--energise", "--bench-unit", "S-1"), ("--bench-operator",)),
    "no unit": (
        ("--bench=quay.bench.yaml", "--energise", "--bench-operator", "A. Keeper"),
        ("--bench-unit",),
    ),
}
FULL = ("--bench=quay.bench.yaml", "--energise", "--bench-unit", "S-1", "--bench-operator", "A. Keeper")
WORKERS = {
    "two": ("-n", "2"),
    "one": ("-n1",),
    "by hand": ("--dist=load", "--tx=popen"),
    "each": ("-d", "--tx", "popen"),
}


def test_without_its_options_no_byte_goes_to_a_bench(
    project: pytest.Pytester, listeners: list[bytes]
) -> None:
    procedure(project, THREE, WAITS.replace("wait_for: key", ""), name="collected")
    procedure(project, THREE.splitlines()[0] + "\n", WAITS)
    project.makepyfile(test_it=POWERED)
    done = project.runpytest_inprocess(*OURS, "--deselect", "level.procedure.yaml")
    done.assert_outcomes(passed=2, failed=2, deselected=1)
    assert listeners == []


@pytest.mark.parametrize("name", REFUSED)
def test_what_is_not_wholly_asked_for_is_refused_in_a_line(
    project: pytest.Pytester, listeners: list[bytes], name: str
) -> None:
    options, wanted = REFUSED[name]
    procedure(project)
    done = project.runpytest_inprocess(*OURS, *options)
    assert done.ret == pytest.ExitCode.USAGE_ERROR
    (line,) = filter(None, done.errlines)
    assert says(line, "expected", *wanted) or says(line, *wanted)
    assert listeners == []


@pytest.mark.parametrize("where", ["pytest.ini", "PYTEST_ADDOPTS"])
def test_only_the_command_line_itself_energises(
    project: pytest.Pytester, listeners: list[bytes], where: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    procedure(project)
    given = " ".join(each.replace(" ", "_") for each in FULL)
    if where == "pytest.ini":
        project.makeini(f"[pytest]\naddopts = {given}")
    else:
        monkeypatch.setenv(where, given)
    done = project.runpytest_inprocess(*OURS)
    assert done.ret == pytest.ExitCode.USAGE_ERROR
    (line,) = filter(None, done.errlines)
    assert says(line, "command line itself", "nothing was energised")
    assert listeners == []


@pytest.mark.parametrize("name", WORKERS)
def test_parallel_workers_never_energise(project: pytest.Pytester, listeners: list[bytes], name: str) -> None:
    """Refused before any is started; --collect-only: where it is not, none is started here either."""
    procedure(project)
    workers = ("-p", "xdist.plugin", "--collect-only", *WORKERS[name])
    done = project.runpytest_inprocess(*OURS, *workers, *FULL)
    assert done.ret == pytest.ExitCode.USAGE_ERROR
    (line,) = filter(None, done.errlines)
    assert says(line, "--energise", "workers", "nothing was energised")
    assert listeners == []


def test_another_bench_than_the_one_that_is_energised_is_simulated(
    project: pytest.Pytester, listeners: list[bytes]
) -> None:
    shutil.copy(project.path / "quay.bench.yaml", project.path / "other.bench.yaml")
    procedure(project)
    done = project.runpytest_inprocess(*OURS, "--junitxml=j.xml", "--bench=other.bench.yaml", *FULL[1:])
    done.assert_outcomes(passed=1, failed=2)
    assert {properties(case)["played_on"] for case in cases(project).values()} == {"simulated supplies"}
    assert listeners == []


def test_it_loads_nothing_for_a_project_without_procedures(project: pytest.Pytester) -> None:
    project.makepyfile(test_it="def test_it():\n    pass\n")
    told = "import sys, pytest; code = pytest.main(sys.argv[1:]); print(*sys.modules); sys.exit(code)"

    def loaded(*options: str) -> set[str]:
        done = subprocess.run(
            [sys.executable, "-c", told, *options, "-q"], capture_output=True, text=True, check=True
        )
        return set(done.stdout.splitlines()[-1].split())

    more = loaded(*OURS) - loaded()
    assert {each for each in more if not each.startswith("railwright")} == set()
    assert {each for each in more if each.startswith("railwright")} == {
        "railwright",
        "railwright.version",
        "railwright.pytest_plugin",
        "railwright.pytest_plugin.session",
    }


def test_it_is_announced_under_its_name() -> None:
    text = (Path(__file__).parents[2] / "pyproject.toml").read_text("utf-8")
    announced = tomllib.loads(text)["project"]["entry-points"]["pytest11"]
    assert announced == {"railwright": "railwright.pytest_plugin"}
    assert all(find_spec(module) for module in announced.values())
