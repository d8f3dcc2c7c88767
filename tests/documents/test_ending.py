"""How a run ends, as the documents say it: off order, ramps, what stays on, and what switches off alone."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from tests.bench import BENCH, EXAMPLE, PROCEDURE, copy_demo, edit
from tests.documents.test_schema import as_an_editor_sees_it

from railwright.documents.loader import load_documents
from railwright.documents.procedure import Procedure
from railwright.documents.schema import json_schema
from railwright.documents.sources import DocumentErrors

MAIN = "    ovp: 18 V\n"
TRANSDUCER = "    ovp: auto\n"
ADDRESS = "    dialect: channel-list\n"


def procedure_with(
    folder: Path, main: str = "", transducer: str = "", top: str = "", supply: str = ""
) -> Path:
    path = copy_demo(folder)
    edit(path, MAIN, MAIN + main)
    edit(path, TRANSDUCER, TRANSDUCER + transducer)
    edit(path, "record: {every", f"{top}record: {{every")
    edit(folder / BENCH, ADDRESS, ADDRESS + supply)
    return path


@pytest.mark.parametrize(
    ("written", "kind", "time", "reason"),
    [
        ("", "off", None, None),
        ("    at_end: off\n", "off", None, None),
        ("    at_end: {ramp_down: 200 ms}\n", "ramp_down", 0.2, None),
        ("    at_end: {stays_on: cooling fan}\n", "stays_on", None, "cooling fan"),
    ],
)
def test_what_an_input_does_at_the_end(
    tmp_path: Path, written: str, kind: str, time: float | None, reason: str | None
) -> None:
    limits = load_documents(procedure_with(tmp_path, main=written)).procedure.limits
    at_end = limits["main"].at_end
    assert (at_end.kind, at_end.ramp_down, at_end.stays_on) == (kind, time, reason)
    assert limits["transducer"].at_end.kind == "off"


def test_an_input_may_go_off_after_others(tmp_path: Path) -> None:
    limits = load_documents(procedure_with(tmp_path, main="    off_after: [transducer]\n")).procedure.limits
    assert limits["main"].off_after == ("transducer",)
    assert limits["transducer"].off_after == ()


@pytest.mark.parametrize(
    ("written", "attended"), [("", True), ("attended: yes\n", True), ("attended: no\n", False)]
)
def test_a_run_is_attended_unless_it_is_said_not_to_be(tmp_path: Path, written: str, attended: bool) -> None:
    assert load_documents(procedure_with(tmp_path, top=written)).procedure.attended is attended


def test_a_watchdog_an_interlock_and_the_time_of_an_exchange(tmp_path: Path) -> None:
    path = procedure_with(
        tmp_path, supply="    watchdog: {times: 1 s .. 3600 s, does: off}\n    exchange: 5 ms\n"
    )
    edit(
        tmp_path / BENCH,
        "\nsupplies:",
        "\ninterlock: {opened_by: cage door, seen_to_act: 2026-11-02}\nsupplies:",
    )
    bench = load_documents(path).bench
    watchdog, interlock = bench.supplies["left"].watchdog, bench.interlock
    assert watchdog is not None
    assert (watchdog.times.low, watchdog.times.high, watchdog.does) == (1.0, 3600.0, "off")
    assert bench.supplies["left"].exchange == 5e-3
    assert bench.supplies["right"].watchdog is bench.supplies["right"].exchange is None
    assert interlock is not None
    assert (interlock.opened_by, interlock.seen_to_act) == ("cage door", dt.date(2026, 11, 2))


CIRCLE = {"main": "    off_after: [transducer]\n", "transducer": "    off_after: [main]\n"}


@pytest.mark.parametrize(
    ("parts", "line"),
    [
        (
            {"main": "    off_after: [transducr]\n"},
            "17:17: expected one of the device's inputs, got 'transducr'; did you mean 'transducer'?",
        ),
        (
            {"main": "    off_after: [main]\n"},
            "17:17: expected other inputs in 'off_after', got 'main' itself; remove it",
        ),
        (
            {"main": "    off_after: [transducer, transducer]\n"},
            "17:29: expected each input once, got 'transducer' again (first in line 17); remove one of them",
        ),
        (
            CIRCLE,
            "23:17: expected an order of switching off, got a circle: 'main' after 'transducer' after "
            "'main'; remove an entry",
        ),
        (
            {"main": "    at_end: of\n"},
            "17:13: expected 'off', {ramp_down: 200 ms} or {stays_on: REASON}, got 'of'; did you mean 'off'?",
        ),
        (
            {"main": "    at_end: {ramp_down: 2 s, stays_on: fan}\n"},
            "17:40: expected one of 'ramp_down' and 'stays_on', got both; remove one",
        ),
        (
            {"main": "    at_end: {ramp_down: 20 min}\n"},
            "17:25: expected a 'ramp_down' of at most 600 s, got 1200 s; shorten it",
        ),
        (
            {"main": "    at_end: {ramp_down: 0 ms}\n"},
            "17:25: expected a time above zero, got '0 ms'",
        ),
        (
            {"main": '    at_end: {stays_on: ""}\n'},
            "17:24: expected some text, got an empty one",
        ),
        ({"top": "attended: maybe\n"}, "47:11: expected 'yes' or 'no', got 'maybe'"),
    ],
)
def test_a_wrong_ending_is_told_at_its_place(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, parts: dict[str, str], line: str
) -> None:
    procedure_with(tmp_path, **parts)
    monkeypatch.chdir(tmp_path)
    with pytest.raises(DocumentErrors) as caught:
        load_documents(PROCEDURE)
    assert str(caught.value).splitlines() == [f"{PROCEDURE}:{line}"]


@pytest.mark.parametrize(
    ("supply", "line"),
    [
        ("    watchdog: {times: 1 s .. 3600 s, does: hold}\n", "12:44: expected 'off', got 'hold'"),
        (
            "    watchdog: {times: 0 s .. 0 s, does: off}\n",
            "12:23: expected 'times' that reach above zero, got 0 s .. 0 s; write the times of its "
            "data sheet",
        ),
        ("    exchange: 20 us\n", "12:15: expected an 'exchange' of 1 ms to 10 s, got 20 µs"),
        ("    exchange: 1 h\n", "12:15: expected an 'exchange' of 1 ms to 10 s, got 3600 s"),
    ],
)
def test_a_wrong_figure_of_a_supply_is_told_at_its_place(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, supply: str, line: str
) -> None:
    procedure_with(tmp_path, supply=supply)
    monkeypatch.chdir(tmp_path)
    with pytest.raises(DocumentErrors) as caught:
        load_documents(PROCEDURE)
    assert str(caught.value).splitlines() == [f"{BENCH}:{line}"]


@pytest.mark.parametrize(
    ("at_end", "right"),
    [("off", True), ({"ramp_down": "1 s"}, True), ({"stays_on": "fan"}, True), ("on", False), ({}, False)],
)
def test_an_editor_knows_what_may_stand_there(at_end: Any, right: bool) -> None:
    data = as_an_editor_sees_it(EXAMPLE / PROCEDURE)
    data["limits"]["main"]["at_end"] = at_end
    problems = list(jsonschema.Draft202012Validator(json_schema("procedure")).iter_errors(data))
    assert (problems == []) is right


def test_a_procedure_made_in_code_says_it_with_true_and_false() -> None:
    for given, told in ((True, False), (False, False), ("no", False), (3, True), ("off", True)):
        with pytest.raises(ValueError, match="Field required") as caught:
            Procedure.model_validate({"attended": given})
        assert (f"expected 'yes' or 'no', got {given}" in str(caught.value).replace("'off'", "off")) is told
