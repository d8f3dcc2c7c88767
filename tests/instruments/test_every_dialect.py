"""One procedure in every dialect: the same outcomes, and the same values within the readings' uncertainty."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from tests.bench import replaced
from tests.instruments import coded_front
from tests.instruments.stated_front import DIALECT, LONGEST, Front
from tests.truth.saying import station

from railwright.dialects.dialect import load_dialect
from railwright.dialects.files import dialect_names, dialect_text
from railwright.evaluation.outcome import Outcome, Result
from railwright.examples import example
from railwright.guard.input_end import InputEnd
from railwright.guard.local_link import LocalLink
from railwright.guard.off import SwitchOff
from railwright.guard.session import Session
from railwright.instruments.guarded import open_guarded
from railwright.instruments.session import InstrumentSession
from railwright.instruments.supply import OutputSetting, SupplyDriver
from railwright.job import Job, Run
from railwright.records.ended import Ended
from railwright.running.interruption import StopRequest
from railwright.running.off_bench import plan_of, read_bench
from railwright.running.runner import run
from railwright.twin.server import SupplyServer
from railwright.twin.virtual_network import VirtualNetwork
from railwright.virtual_time import VirtualLoop

PROCEDURE = (example() / "power-input.procedure.yaml").read_text("utf-8")
LEFT, RIGHT = "dialect: channel-list", "dialect: selected-output"


def documents_in(dialect: str, folder: Path) -> Path:
    """The demo's procedure on a bench whose supplies both speak one dialect."""
    edits = [(each, f"dialect: {dialect}") for each in (LEFT, RIGHT) if each != f"dialect: {dialect}"]
    if dialect in dialect_names() and load_dialect(dialect).addressing == "none":
        edits.append(("      2: {same_as: 1}\n", ""))
    return station(folder, PROCEDURE, {"quay.bench.yaml": edits})


def run_in(dialect: str, folder: Path) -> Run:
    """That procedure, run on simulated supplies."""
    check = Job.open(documents_in(dialect, folder)).check(static=True)
    return check.run(unit="S-1", operator="O", folder=folder / "run", twins=True, seed=3)


@pytest.fixture(scope="module")
def usual(tmp_path_factory: pytest.TempPathFactory) -> Run:
    return run_in("channel-list", tmp_path_factory.mktemp("usual"))


@pytest.mark.parametrize("dialect", [name for name in dialect_names() if name != "channel-list"])
def test_a_procedure_comes_to_the_same_in_every_dialect(dialect: str, usual: Run, tmp_path: Path) -> None:
    assert_the_same(run_in(dialect, tmp_path), usual)


def assert_the_same(made: Run, usual: Run) -> None:
    """The same outcomes, and the same values within the readings' uncertainty."""
    assert made.outcome is not None
    assert made.outcome.ended is Ended.COMPLETED, made.outcome.cause
    assert made.outcome.off_confirmed
    here, there = made.evaluate(), usual.evaluate()
    assert len(here.results) == 9
    for one, other in zip(here.results, there.results, strict=True):
        assert one.requirement == other.requirement
        assert one.outcome is other.outcome or _apart(one)
        assert one.measured is not None
        assert other.measured is not None
        # Both intervals hold the one true value: what is true behind the supplies is the same.
        assert one.measured.low <= other.measured.high, one.requirement
        assert other.measured.low <= one.measured.high, one.requirement


def _apart(result: Result) -> bool:
    """Voltage and current that are asked for one after the other can be of two readings, where new ones come
    just between the questions, as often as they are asked for: then the current changes before the voltage
    does, and whether the load stopped meanwhile is not known.
    """
    told = result.measured.unseen if result.measured is not None else ""
    return (
        result.requirement == "keeps running over the line range"
        and result.outcome is Outcome.INCONCLUSIVE
        and "while the supply's voltage stays" in told
    )


def speaking(front: Any, monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Have the twins speak a language of another's, behind a parser of its own; what they are told."""
    standard, messages = SupplyServer.answer, list[str]()

    async def answer(server: SupplyServer, message: bytes) -> str:
        messages.append(message.decode("ascii"))
        return await front(server, standard).answer(messages[-1])

    monkeypatch.setattr(SupplyServer, "answer", answer)
    return messages


def test_a_procedure_comes_to_the_same_in_a_language_that_is_unlike_the_standard(
    usual: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Outputs named by a letter among the parameters, all of one in one answer, messages of 60 bytes at most:
    a dialect file alone, at the same twins behind a parser of their own.
    """
    messages = speaking(Front, monkeypatch)
    (tmp_path / "stated.dialect.yaml").write_text(DIALECT, "utf-8")
    made = run_in("stated", tmp_path)
    assert max(map(len, messages)) < LONGEST
    assert {"STAT? A", "WOKE?"} <= set(messages)
    assert_the_same(made, usual)


def test_a_procedure_comes_to_the_same_in_codes_and_answers_of_all_outputs(
    usual: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A sign between header and value, levels and readings as whole numbers, one answer for all outputs."""
    messages = speaking(coded_front.Front, monkeypatch)
    dialect = replaced(coded_front.DIALECT, coded_front.BY_CODES)
    (tmp_path / "coded.dialect.yaml").write_text(dialect, "utf-8")
    made = run_in("coded", tmp_path)
    assert {"ADC?", "OUT?", "V1=6050", "OUT1=1", "OUT1=0"} <= set(messages)
    assert "MEAS?" not in messages
    assert_the_same(made, usual)


@pytest.mark.parametrize("edits", [(), (coded_front.BY_CODES,)], ids=["numbers", "codes"])
def test_it_is_stopped_and_switched_off_in_that_language(
    edits: tuple[tuple[str, str], ...], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A run that a person stops, and `railwright off` by the files alone, while both supplies deliver."""
    messages = speaking(coded_front.Front, monkeypatch)
    (tmp_path / "coded.dialect.yaml").write_text(replaced(coded_front.DIALECT, *edits), "utf-8")
    job = Job.open(documents_in("coded", tmp_path))
    documents, feeds, loop = job.documents, job.check(static=True).settings.set_points, VirtualLoop()
    with VirtualNetwork(loop, documents.bench, documents.device, documents.procedure) as network:
        stop, link = StopRequest(), LocalLink(loop, network.connect)
        loop.call_at(loop.time() + 2.5, lambda: stop.request("a person"))
        given = {"unit": "U-1", "operator": "O", "folder": tmp_path / "run"}
        outcome = run(documents, feeds, link=link, stop=stop, **given)
        assert (outcome.ended, outcome.off_confirmed) == (Ended.INTERRUPTED, True), outcome.cause
        assert not any(network.on(each) for each in ("left.1", "right.1"))
    with VirtualNetwork(loop, documents.bench, documents.device, documents.procedure) as network:
        for name in ("left", "right"):
            driver = SupplyDriver(
                name, documents.bench.supplies[name], open_guarded(LocalLink(loop, network.connect))
            )
            driver.connect()
            for setting, value in (("voltage", 12.0), ("current_limit", 1.0), ("output", True)):
                driver.put([OutputSetting("1", setting, value)])  # type: ignore[arg-type]
        assert network.on("left.1")
        assert network.on("right.1")
        supplies = read_bench((tmp_path / "quay.bench.yaml").read_text("utf-8"), tmp_path)
        plan = plan_of(supplies, frozenset({"left.1", "left.2", "right.1"}))
        before = len(messages)

        async def off() -> dict[str, InputEnd]:
            sessions = {
                each.name: Session(each.name, each.address, network.connect, each.session_settings)
                for each in plan.supplies
            }
            return await SwitchOff(plan, sessions, lambda what, fields: None).go()

        ends = loop.complete(off())
        assert {name: end.confirmed for name, end in ends.items()} == dict.fromkeys(
            ("left.1", "left.2", "right.1"), True
        )
        assert messages[before:][:2] == ["OUT1=0", "OUT2=0"]
        assert not network.on("left.1")
        assert not network.on("right.1")


def test_what_is_set_by_hand_is_asked_for_before_anything_is_on(tmp_path: Path) -> None:
    made = run_in("single-output", tmp_path)
    assert made.outcome is not None
    told = [each for each in made.outcome.cautions if "entered by the operator" in each]
    assert len(told) == 2
    assert told[0].startswith("OVP level of left.1: 18 V")


def test_a_slew_that_no_command_sets_is_none_that_a_ramp_can_use(tmp_path: Path) -> None:
    """The run recorded a slew that nobody had set, and a turn-off voltage was read from it."""
    own = dialect_text("channel-list").replace("dialect: channel-list", "dialect: no-slew", 1)
    lines = [line for line in own.splitlines() if not line.startswith("  slew_")]
    for text, slew in ((own, True), ("\n".join(lines), False)):
        folder = tmp_path / str(slew)
        folder.mkdir()
        (folder / "no-slew.dialect.yaml").write_text(text, "utf-8")
        path = station(folder, PROCEDURE, {"quay.bench.yaml": [(LEFT, "dialect: no-slew")]})
        job = Job.open(path)
        assert (job.documents.bench.supplies["left"].outputs["1"].slew is not None) is slew
        moves = job.check(static=True).settings
        assert moves
        stairs = [each.rule for each in job.check(static=True).findings if each.rule == "ramp-in-stairs"]
        assert bool(stairs) is not slew


def never(*_: object) -> InstrumentSession:
    raise AssertionError("no session is wanted here")


@pytest.mark.parametrize("dialect", dialect_names())
def test_what_switches_off_without_a_run_says_what_the_driver_says(dialect: str, tmp_path: Path) -> None:
    """Two readers of one file: `railwright off` takes it as plain text, the driver as a validated model."""
    path = documents_in(dialect, tmp_path)
    bench = Job.open(path).documents.bench
    for found in read_bench((tmp_path / "quay.bench.yaml").read_text("utf-8"), tmp_path):
        driver = SupplyDriver(found.name, bench.supplies[found.name], never)
        assert found.plan is not None
        assert found.plan.identify == driver.dialect.instrument.identify
        assert found.plan.session_settings == driver.dialect.session_settings
        outputs = [output.name.partition(".")[2] for output in found.outputs]
        assert outputs == list(driver.outputs)
        asked = ";".join(driver.look(outputs))
        master = driver.dialect.master
        wanted = () if master is None else (driver.dialect.master_unit(False),)
        assert found.plan.master == wanted
        assert (found.plan.master_state is None) is (master is None)
        assert found.plan.master_first is (master is not None and master.goes_off == "first")
        assert found.plan.master_off == driver.dialect.master_off_answers or master is None
        assert all(unit in asked for line in found.plan.look for unit in line.split(";"))
        for own, output in zip(outputs, found.outputs, strict=True):
            assert output.off is not None
            assert output.off.off == driver.told([OutputSetting(own, "output", False)])
            assert output.off.off_words == driver.dialect.off_answers
            assert (output.off.volt, output.off.ampere) == driver.dialect.readings.factors
