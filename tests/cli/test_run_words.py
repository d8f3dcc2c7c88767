"""The endings of a run in words and exit codes: *off* is said only of what was confirmed."""

import io
import sys
from dataclasses import replace
from pathlib import Path

import pytest
from tests.said import says

from railwright.cli.exits import Exit, guarded, stands
from railwright.cli.run import off_words, report_outcome
from railwright.cli.run_words import code_of_run, headline
from railwright.documents.loader import load_documents
from railwright.examples import example
from railwright.records.ended import Ended, SwitchedOff
from railwright.running.outcome import RunOutcome
from railwright.traces import Record, Span


def outcome(ended=Ended.COMPLETED, cause="", energised=True, switched_off=(), **more):
    record = Record("supply readings", {}, (), ())
    went = {off.input: off for off in switched_off}
    return RunOutcome(Path("run-1"), "id", ended, cause, energised, record, went, (), (), 0.0, 0, **more)


NOT = {"off_confirmed": False, "not_confirmed": ("main: left.1, since 12.3 s, 11.9 V: use the mains switch",)}


@pytest.mark.parametrize(
    ("case", "line", "code"),
    [
        (outcome(), "completed, off confirmed", Exit.DONE),
        (
            outcome(Ended.INTERRUPTED, "interrupted by Ctrl-C (SIGINT)"),
            "stopped, off confirmed: interrupted by Ctrl-C (SIGINT)",
            Exit.STOPPED,
        ),
        (outcome(Ended.TRIPPED), "stopped, off confirmed: an output tripped", Exit.STOPPED),
        (
            outcome(Ended.EXPECTED_TRIP, "main tripped: OCP"),
            "ended by the required trip, off confirmed: main tripped: OCP",
            Exit.DONE,
        ),
        (
            outcome(Ended.EXPECTED_TRIP, "main tripped: OCP", **NOT),
            "ENDED BY THE REQUIRED TRIP, OFF NOT CONFIRMED: main tripped: OCP",
            Exit.OFF_NOT_CONFIRMED,
        ),
        (
            outcome(Ended.INSTRUMENT, "left: gives no answer"),
            "stopped, off confirmed: left: gives no answer",
            Exit.INSTRUMENT,
        ),
        (
            outcome(Ended.INSTRUMENT, "left: nothing listens", energised=False),
            "stopped: left: nothing listens",
            Exit.INSTRUMENT,
        ),
        (
            outcome(Ended.INSTRUMENT, "left: gives no answer", **NOT),
            "STOPPED, OFF NOT CONFIRMED: left: gives no answer",
            Exit.OFF_NOT_CONFIRMED,
        ),
        (
            outcome(Ended.STOPPED, "main above 3 A", energised=False, **NOT),
            "STOPPED, OFF NOT CONFIRMED: main above 3 A",
            Exit.OFF_NOT_CONFIRMED,
        ),
        (
            outcome(**NOT),
            "PLAYED TO ITS END, OFF NOT CONFIRMED: the whole procedure was played",
            Exit.OFF_NOT_CONFIRMED,
        ),
    ],
)
def test_headline_and_code(case, line, code):
    assert headline(case) == line
    assert code_of_run(case) is code


@pytest.mark.parametrize("ended", Ended)
def test_off_not_confirmed_is_6_whatever_else_happened(ended):
    assert code_of_run(outcome(ended, "a cause", **NOT)) == 6


@pytest.mark.parametrize(
    ("off", "words"),
    [
        (
            SwitchedOff("main", True, 1.0, 0.012, 0.0, confirmed=True),
            "off confirmed, below 1 V after 12 ms",
        ),
        (
            SwitchedOff("cell", True, 1.0, None, 3.7, confirmed=True, holds=3.7),
            "off confirmed, device holds 3.7 V",
        ),
        (
            SwitchedOff("gate", False, 1.0, None, 5.0, stays_on="the drain is not confirmed off"),
            "stays on, because the drain is not confirmed off",
        ),
        (
            SwitchedOff("main", False, 1.0, None, 11.9),
            "OFF NOT CONFIRMED: its state was not read to be off, last read at 11.9 V (threshold 1 V)",
        ),
        (
            SwitchedOff("main", False, 1.0, None, None, before=12.01),
            "OFF NOT CONFIRMED: its state was not read to be off, last read at 12.01 V, before OFF "
            "(threshold 1 V)",
        ),
        (
            SwitchedOff("main", False, 1.0, None, None),
            "OFF NOT CONFIRMED: its state was not read to be off, no voltage was read (threshold 1 V)",
        ),
        (
            SwitchedOff("main", True, 1.0, None, 3.7, holds=3.7),
            "OFF NOT CONFIRMED: the output says that it is off, last read at 3.7 V (threshold 1 V)",
        ),
    ],
)
def test_words_of_an_input(off, words):
    assert off_words(off) == words


def test_nothing_was_energised_is_said_only_where_it_is_true(capsys):
    for energised, not_confirmed, said in ((False, {}, True), (True, {}, False), (False, NOT, False)):
        report_outcome(outcome(Ended.STOPPED, "a cause", energised, **not_confirmed))
        assert ("nothing was energised" in capsys.readouterr().out) is said


def test_not_confirmed_is_said_on_both_streams_unless_they_are_one(capsys, monkeypatch):
    switched = (SwitchedOff("main", False, 1.0, None, 11.9),)
    report_outcome(outcome(Ended.INSTRUMENT, "left: gone", switched_off=switched, **NOT))
    told = capsys.readouterr()
    expected = ["STOPPED, OFF NOT CONFIRMED: left: gone", *NOT["not_confirmed"]]
    assert told.out.splitlines()[:2] == expected
    assert told.err.splitlines() == expected
    one = io.StringIO()
    monkeypatch.setattr(sys, "stdout", one)
    monkeypatch.setattr(sys, "stderr", one)
    report_outcome(outcome(Ended.INSTRUMENT, "left: gone", **NOT))
    assert one.getvalue().count("OFF NOT CONFIRMED") == 1


def test_what_late_set_points_leave_open_is_said_with_how_it_ended(capsys):
    """The line sweep has a point every 500 ms, so that 50 ms are permitted."""
    documents = load_documents(example() / "power-input.procedure.yaml")
    for late, said in ((0.049, False), (0.06, True)):
        swept = Span("line sweep", "sweep", 2.0, 6.0, ("main",), late=late)
        done = replace(outcome(), record=Record("supply readings", {}, (), (swept,)))
        report_outcome(done, documents=documents)
        told = capsys.readouterr().out
        wanted = "60 ms", "'power over the line range'", "'keeps running over the line range'"
        assert says(told.replace("\n", " "), *wanted) is said
        report_outcome(replace(done, energised=False), documents=documents)
        assert "line range" not in capsys.readouterr().out


def test_what_an_instrument_says_does_not_steer_the_terminal(capsys):
    report_outcome(outcome(Ended.INSTRUMENT, "left: got '\x1b[2J'", remedy="\x9b", energised=False))
    assert capsys.readouterr().out.replace("\n", "").isprintable()


def test_the_code_of_a_run_stands_whatever_comes_while_its_last_lines_are_printed():
    def command():
        stands(Exit.OFF_NOT_CONFIRMED)
        raise KeyboardInterrupt

    with pytest.raises(SystemExit) as ended:
        guarded(command)()
    assert ended.value.code == 6

    def interrupted():
        raise KeyboardInterrupt

    with pytest.raises(SystemExit) as ended:
        guarded(interrupted)()
    assert ended.value.code == 3
