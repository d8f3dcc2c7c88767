"""`run --repeat`, in virtual time: each play a run of its own, until one does not end as played."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from tests.bench import replaced
from tests.running.small import PROCEDURE, SET_POINTS, write
from tests.running.virtual import LEFT, RIGHT
from tests.said import says

from railwright.cli.exits import BadInput, Exit
from railwright.cli.series import PlayedSeries, Series, expect_repeatable, play_series, series_of
from railwright.documents.loader import load_documents
from railwright.guard.local_link import LocalLink
from railwright.guard.locks import Locks, last_taken
from railwright.records.ended import Ended
from railwright.records.names import MANIFEST
from railwright.records.stored import open_run
from railwright.running.interruption import StopRequest
from railwright.running.off_ask import ask_guards
from railwright.running.off_bench import BenchSupply
from railwright.running.outcome import FolderRefused, Progress, RunOutcome
from railwright.running.runner import run
from railwright.traces import Record, Span
from railwright.twin.mischief.script import parse_mischief
from railwright.twin.virtual_network import VirtualNetwork
from railwright.virtual_time import VirtualLoop


def outcome(ended: Ended = Ended.COMPLETED, cause: str = "", **more: Any) -> RunOutcome:
    record = Record("supply readings", {}, (), ())
    return RunOutcome(Path("night"), "id", ended, cause, True, record, {}, (), (), 0.0, 0, **more)


REQUIRED = """requires:
  - {name: trips, of: main, during: steady, measure: trip_time, at_most: 1 s}
"""
SHORT = replaced(
    PROCEDURE,
    ("  - sweep: {input: main, from: 9 V, to: 12 V, points: 3, dwell: 40 ms}\n    name: sweep\n", ""),
)
SECOND = 2.25
"""While the second play has everything on, by the clock of the supplies [s]."""

COOL_DOWN = 1.0


class AtStep(Progress):
    """Does something when the step of that name begins."""

    def __init__(self, name: str, what: Callable[[], object]) -> None:
        self.name, self.what = name, what

    def step_started(self, span: Span, position: int) -> None:
        if span.name == self.name:
            self.what()


class Night:
    """A series on simulated supplies that share one clock with the runs. steady: done in each play while
    everything is on.
    """

    def __init__(self, folder: Path, mischief: tuple[str, ...] = ()) -> None:
        self.documents = load_documents(write(folder, LEFT, RIGHT, SHORT))
        self.series = Series(folder / "night", 3, COOL_DOWN)
        self.loop, self.stop = VirtualLoop(), StopRequest()
        bench, device, procedure = self.documents.bench, self.documents.device, self.documents.procedure
        script = parse_mischief(mischief, bench.supplies)
        self.network = VirtualNetwork(self.loop, bench, device, procedure, mischief=script)
        self.steady: Callable[[], object] = lambda: None
        self.told: list[str] = []
        self.energised: tuple[tuple[float, float | None], ...] = ()

    def play(self) -> PlayedSeries:
        with self.network:
            try:
                return play_series(
                    self.series, self._one, lambda: "", self.stop, wait=self.loop.sleep, tell=self.told.append
                )
            finally:
                self.energised = self.network.energised("left.1")

    def _one(self, number: int, folder: Path) -> RunOutcome:
        return run(
            self.documents,
            SET_POINTS,
            unit="U-7",
            operator="An operator",
            folder=folder,
            timeout=5.0,
            link=LocalLink(self.loop, self.network.connect),
            stop=self.stop,
            progress=AtStep("steady", self.steady),
        )


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.glob("night*"))


def test_each_play_is_a_run_of_its_own_and_the_first_that_trips_is_the_last(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    night = Night(tmp_path, (f"left.1: overheats at {SECOND} s",))
    played = night.play()
    assert played.code is Exit.STOPPED
    assert names(tmp_path) == ["night-1", "night-2"]
    first, second = (open_run(tmp_path / name) for name in names(tmp_path))
    assert first.about["run"] != second.about["run"]
    assert [each.about["ended"] for each in (first, second)] == ["completed", "tripped"]
    for each in (first, second):
        assert each.about["off_confirmed"]
        assert (each.folder / MANIFEST).is_file()
    (_, end), (begin, again) = night.energised
    assert end is not None
    assert again is not None
    assert begin - end > COOL_DOWN
    lines = capsys.readouterr().out.splitlines()
    assert len(lines) == 3
    assert says(lines[0], 1, 3)
    assert says(lines[1], 2, 3, "OTP", "night-2")
    assert says(lines[2], 1, 2)
    assert [says(line, "1 s") for line in night.told] == [True, False]


def test_a_request_to_end_in_a_play_ends_all_with_outputs_off(tmp_path: Path) -> None:
    night = Night(tmp_path)
    night.steady = lambda: night.stop.request("interrupted by Ctrl-C")
    assert night.play().code is Exit.STOPPED
    assert names(tmp_path) == ["night-1"]
    about = open_run(tmp_path / "night-1").about
    assert (about["ended"], about["off_confirmed"]) == ("interrupted", True)
    assert len(night.energised) == 1
    assert night.energised[0][1] is not None


class Plays:
    """A series of runs that are told to end so; what was waited, and for how long, goes into `waits`."""

    def __init__(self, *ends: RunOutcome | Exception, times: int = 3) -> None:
        self.series, self.stop = Series(Path("night"), times, 600.0), StopRequest()
        self.ends, self.begun, self.waits = list(ends), [], []
        self.after: Callable[[], object] = lambda: None
        self.waited: Callable[[], object] = lambda: None
        self.against: Callable[[], str] = lambda: ""

    def _one(self, number: int, folder: Path) -> RunOutcome:
        self.begun.append(str(folder))
        end = self.ends[number - 1]
        if isinstance(end, Exception):
            raise end
        self.after()
        return end

    def _wait(self, duration: float) -> None:
        self.waits.append(duration)
        self.waited()

    def play(self) -> PlayedSeries:
        return play_series(
            self.series, self._one, self.against, self.stop, wait=self._wait, tell=lambda line: None
        )


NOT_OFF = {"off_confirmed": False, "not_confirmed": ("main: left.1: use the mains switch",)}


@pytest.mark.parametrize(
    ("last", "code"),
    [
        (outcome(Ended.INSTRUMENT, "left: silent"), Exit.INSTRUMENT),
        (outcome(Ended.EXPECTED_TRIP, "OVP"), Exit.DONE),
        (outcome(Ended.FAULT, "a fault"), Exit.FAULT),
        (outcome(**NOT_OFF), Exit.OFF_NOT_CONFIRMED),
    ],
)
def test_the_code_is_that_of_the_worst(
    last: RunOutcome, code: Exit, capsys: pytest.CaptureFixture[str]
) -> None:
    plays = Plays(outcome(), last, times=12)
    assert plays.play().code is code
    assert plays.begun == ["night-01", "night-02"]
    lines = capsys.readouterr().out.splitlines()
    assert len(lines) == 3
    assert says(lines[2], 10, 2)


def test_all_are_played_and_one_alone_says_no_more_than_ever(capsys: pytest.CaptureFixture[str]) -> None:
    plays = Plays(outcome(), outcome(), outcome())
    assert plays.play().code is Exit.DONE
    assert (plays.begun, plays.waits) == (["night-1", "night-2", "night-3"], [600.0, 600.0])
    assert len(capsys.readouterr().out.splitlines()) == 3
    alone = Plays(outcome(), times=1)
    assert alone.play().code is Exit.DONE
    assert (alone.begun, alone.waits) == (["night"], [])
    assert capsys.readouterr().out == ""


@pytest.mark.parametrize("when", ["after", "waited", "against"])
def test_a_request_to_end_between_two_plays_ends_all(when: str, capsys: pytest.CaptureFixture[str]) -> None:
    """As one ends, in a cool-down, and while it is looked whether the next may begin."""
    plays = Plays(outcome(), outcome())
    setattr(plays, when, lambda: plays.stop.request("interrupted by Ctrl-C") or "")
    assert plays.play().code is Exit.STOPPED
    assert plays.begun == ["night-1"]
    assert plays.waits == ([] if when == "after" else [600.0])
    assert "Ctrl-C" in capsys.readouterr().out.splitlines()[-1]


def test_what_speaks_against_the_next_and_a_run_that_cannot_begin_end_it(
    capsys: pytest.CaptureFixture[str],
) -> None:
    plays = Plays(outcome())
    plays.against = lambda: "a finding stops the next"
    assert plays.play().code is Exit.STOPPED
    assert "a finding stops the next" in capsys.readouterr().out.splitlines()[-1]
    with pytest.raises(FolderRefused):
        Plays(outcome(), FolderRefused("in the way")).play()
    lines = capsys.readouterr().out.splitlines()
    assert says(lines[0], 1, 3)
    assert says(lines[1], 2)


@pytest.mark.parametrize(
    ("place", "times", "cool_down", "got"),
    [
        ("night", 1, "10 s", "--repeat"),
        ("night", 2, "10 V", "10 V"),
        ("night", 2, "-1 s", "-1 s"),
        ("..", 2, None, "'..'"),
        ("night", 12, None, "night-07"),
    ],
)
def test_what_cannot_be_meant_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, place: str, times: int, cool_down: str | None, got: str
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "night-07").mkdir()
    (tmp_path / "night-07" / "note").touch()
    with pytest.raises(BadInput) as told:
        series_of(Path(place), times, cool_down)
    assert got in str(told.value)
    assert "\n" not in str(told.value)


@pytest.mark.parametrize(
    ("old", "new", "where"),
    [
        ("record: {every: 10 ms}", f"{REQUIRED}record: {{every: 10 ms}}", "requires"),
        ("ocp: 400 mA,", "at_end: {stays_on: cools}, ocp: 400 mA,", "at_end"),
    ],
)
def test_a_procedure_that_cannot_be_repeated_is_told_where(
    tmp_path: Path, old: str, new: str, where: str
) -> None:
    text = replaced(PROCEDURE, (old, new))
    path = write(tmp_path, LEFT, RIGHT, text)
    documents = load_documents(path)
    expect_repeatable(Series(tmp_path / "night"), documents)
    with pytest.raises(BadInput) as told:
        expect_repeatable(Series(tmp_path / "night", 2), documents)
    line = int(str(told.value).removeprefix(f"{path}:").split(":")[0])
    assert where in text.splitlines()[line - 1] or "trip" in text.splitlines()[line - 1]


def test_off_from_elsewhere_is_seen_between_two_plays(tmp_path: Path) -> None:
    """It takes no lock: nobody holds the supply then."""
    assert last_taken(LEFT, tmp_path) is None
    locks = Locks(tmp_path)
    asyncio.run(locks.take_address("left", LEFT))
    locks.release()
    before = last_taken(LEFT, tmp_path)
    assert before is not None
    assert last_taken(LEFT, tmp_path) == before
    ask_guards([BenchSupply("right", RIGHT, RIGHT, ())], tmp_path)
    assert last_taken(LEFT, tmp_path) == before
    ask_guards([BenchSupply("left", LEFT, LEFT, ())], tmp_path)
    assert last_taken(LEFT, tmp_path) != before
