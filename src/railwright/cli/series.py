"""A procedure that is played several times: each play a run of its own, until one does not end as played."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from railwright.cli.exits import BadInput, Exit, expect_free, say

if TYPE_CHECKING:
    from railwright.documents.loader import Documents
    from railwright.running.interruption import StopRequest
    from railwright.running.outcome import RunOutcome

MOST_PLAYS = 100_000
"""Plays of one command."""

Repeat = Annotated[
    int,
    typer.Option(
        "--repeat",
        metavar="N",
        min=1,
        max=MOST_PLAYS,
        help="Play it N times, each a run of its own; the first trip, or other early end, ends all.",
    ),
]
CoolDown = Annotated[
    str | None,
    typer.Option(metavar="TIME", help="With --repeat: how long outputs stay off between two plays."),
]


@dataclass(frozen=True)
class Series:
    """Plays to come. place: the folder of a single one; of several, what the name of each begins with.
    cool_down: from the end of one, when its record is closed, to the beginning of the next [s].
    """

    place: Path
    times: int = 1
    cool_down: float = 0.0

    @property
    def folders(self) -> tuple[Path, ...]:
        """Where each is kept: numbered from 1, so that they sort."""
        if self.times == 1:
            return (self.place,)
        width = len(str(self.times))
        numbers = range(1, self.times + 1)
        return tuple(self.place.with_name(f"{self.place.name}-{each:0{width}}") for each in numbers)

    def called(self, number: int) -> str:
        return f"play {number} of {self.times}"


def series_of(place: Path, times: int, cool_down: str | None) -> Series:
    """What the options ask for. BadInput where they cannot be meant, or a folder is in use."""
    from railwright.quantities import parse_value

    if times == 1 and cool_down is not None:
        raise BadInput("--cool-down: expected --repeat 2 or more beside it; there is nothing between")
    if times > 1 and place.name in ("", ".."):
        raise BadInput(f"--folder: expected a name that a number can follow, got '{place}'; name another")
    try:
        waits = 0.0 if cool_down is None else parse_value(cool_down, "s")
    except ValueError as error:
        raise BadInput(f"--cool-down: {error}") from None
    if not (math.isfinite(waits) and waits >= 0.0):
        raise BadInput(f"--cool-down: expected a time of 0 s or more, got '{cool_down}'")
    series = Series(place, times, waits)
    for folder in series.folders:
        expect_free(folder)
    return series


def expect_repeatable(series: Series, documents: Documents) -> None:
    """BadInput where its plays end otherwise than completed with everything off, as the procedure wants it:
    then the first would be the last, or something would be on between two.
    """
    if series.times == 1:
        return
    procedure = documents.procedure
    for number, required in enumerate(procedure.requires):
        if required.expects_trip:
            told = f"'{required.name}' requires one, and the first trip is the last play"
            place = documents.where("procedure", ("requires", number))
            raise BadInput(
                f"{place}: expected no required trip with --repeat, got one: {told}; leave one out"
            )
    for name, limits in procedure.limits.items():
        if limits.at_end.stays_on is not None:
            told = f"got '{name}', which stays on between two plays"
            place = documents.where("procedure", ("limits", name, "at_end"))
            raise BadInput(f"{place}: expected an input that goes off with --repeat, {told}; leave one out")


@dataclass
class PlayedSeries:
    """What came of it: one line for each play, and the exit code, which is that of the worst."""

    series: Series
    lines: list[str] = field(default_factory=list)
    code: Exit = Exit.DONE
    ended: str = ""
    last: str = ""
    """How the last one ended."""

    @property
    def left(self) -> int:
        """Plays that did not begin."""
        return self.series.times - len(self.lines)

    @property
    def completed(self) -> bool:
        """Whether each of them was played to its end, or to a trip that it requires, and confirmed off."""
        return self.code is Exit.DONE

    def told(self) -> tuple[str, ...]:
        """One line for each play, and why there are no more."""
        if self.series.times == 1:
            return ()
        end = (f"the series ended here, {self.left} not played: {self.ended}",) if self.left else ()
        return (*self.lines, *end)


def play_series(
    series: Series,
    play_one: Callable[[int, Path], RunOutcome],
    against_the_next: Callable[[], str],
    stop: StopRequest,
    *,
    wait: Callable[[float], object] | None = None,
    tell: Callable[[str], object] = say,
) -> PlayedSeries:
    """Play one after the other; end at the first that was not completed with its outputs off.

    play_one: plays it into a folder and says how it ended; only its headline is kept, not its record.
    against_the_next: what speaks against the next; '': nothing. stop: ends all. wait: for a time, or until
    `stop` is asked (default: its own). tell: told what comes next. What `play_one` raises ends the series;
    what was played is said all the same.
    """
    from railwright.cli.run_words import code_of_run, headline
    from railwright.quantities import show

    played = PlayedSeries(series, ended="the next could not begin")
    wait = stop.wait if wait is None else wait
    try:
        for number, folder in enumerate(series.folders, 1):
            if number > 1:
                if series.cool_down > 0.0 and stop.reason is None:
                    tell(f"cool-down: {show(series.cool_down, 's')} until {series.called(number)}")
                    wait(series.cool_down)
                # Asked twice, as looking takes its time where the check is another by now.
                if against := stop.reason or against_the_next() or stop.reason:
                    played.code, played.ended = Exit.STOPPED, against
                    break
                tell(f"{series.called(number)}:")
            outcome = play_one(number, folder)
            played.code = code_of_run(outcome)
            played.last = headline(outcome)
            played.lines.append(f"{series.called(number)}: {played.last} ({outcome.folder})")
            if not (outcome.completed and outcome.off_confirmed):
                lacks = "completed" if outcome.off_confirmed else "confirmed off"
                played.ended = f"play {number} was not {lacks}"
                break
    finally:
        for line in played.told():
            say(line)
    return played
