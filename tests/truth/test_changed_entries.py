"""Dangerous single errors in each shipped dialect: the run stops before anything is on, or what it rests on
is not proved, and nothing untrue is said. Every sixth of them: `benchmarks.dialect_entries` plays every
change.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from benchmarks.changed_entries import judge
from benchmarks.changed_entries.changes import NAME, Change, changes, unchanged
from benchmarks.changed_entries.judge import NOT_PROVED, STOPPED, TRUE, UNTRUE, judged
from benchmarks.changed_entries.play import Proved, lay_out, played

from railwright.dialects.files import dialect_names, dialect_text

DANGEROUS = (
    "settings.output: exchanged with trip_at_limit",
    "settings.output.on: MIN and MAX",
    "settings.voltage: exchanged with current_limit",
    "settings.trip_delay.unit: a thousand times another",
    "settings.ovp: always of output 1",
    "words.at load: exchanged with at terminals",
    "readings.voltage: the set voltage",
    "readings.current_unit: mA",
    "status.mode.bits.CV: exchanged with CC",
    "status.mode.words.CV: exchanged with CC",
    "status.trips.bits.OVP: exchanged with current limit",
    "status.trips.each.OVP: exchanged with current limit",
    "status.trips.words.OVP: exchanged with current limit",
    "status.trips.nothing: with that of OVP",
    "readings.both.fields: current, voltage",
    "readings.both.query: SOURce:VOLTage?",
    "session.opening: left out",
    "instrument.selected: INSTrument:NSELect?",
    "instrument.clear: *RST",
    "status.trips.bits.OTP: that of linked",
    "status.trips.words.OTP: that of current limit",
    "settings.ocp_delay.unit: a thousand times another",
    "settings.ocp_delay.unit: a thousandth of another",
    "settings.ocp_delay: exchanged with trip_delay",
    "settings.slew_rising.unit: a thousand times another",
    "status.trips.bits.linked: exchanged with OTP",
    "addressing: prefixed with its prefix",
    "master.switch: OUTPut:STATe",
    "master.switch: SYSTem:NOTHing",
    "master.switch.on: MIN and MAX",
)

AT_LEAST = 5
"""How many of them each dialect has."""


def dangerous(dialect: str) -> list[Change]:
    return [each for each in changes(dialect) if str(each) in DANGEROUS]


@pytest.mark.parametrize("dialect", dialect_names())
def test_no_single_error_ends_in_an_untrue_statement(dialect: str, tmp_path: Path) -> None:
    drawn = dangerous(dialect)
    assert len(drawn) >= AT_LEAST
    came = [judged(dialect, change, tmp_path / str(number)) for number, change in enumerate(drawn[::6])]
    assert [each for each in came if each.untrue] == []
    assert [(str(c.change), c.verdict, c.why) for c in came if c.verdict not in (STOPPED, NOT_PROVED)] == []


@pytest.mark.parametrize("dialect", dialect_names())
def test_an_unchanged_dialect_comes_out_true(dialect: str, tmp_path: Path) -> None:
    came = judged(dialect, unchanged(dialect), tmp_path)
    assert (came.verdict, came.untrue) == (TRUE, ())


@pytest.mark.parametrize(
    "told", ["settings.ocp_delay: exchanged with trip_delay", "readings.current_unit: mA"]
)
def test_the_judge_sees_what_is_untrue(told: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Were all of it proved, what these runs say would be untrue."""
    monkeypatch.setattr(judge, "provoked", lambda stand: Proved())
    (change,) = (each for each in changes("channel-list") if str(each) == told)
    came = judged("channel-list", change, tmp_path)
    assert came.verdict == UNTRUE
    assert came.untrue


@pytest.mark.parametrize(
    ("dialect", "unit"), [("single-output", ""), ("single-output", "V/ms"), ("prefixed", "mV/s")]
)
def test_a_run_says_where_its_readings_do_not_follow_a_slew(dialect: str, unit: str, tmp_path: Path) -> None:
    """Where somebody accepts that nobody provoked it. What the supply is sent in V/ms it takes in V/s: a
    thousandth; what it is sent in mV/s is beyond the range of its slew, and refused.
    """
    header = "SOURce:VOLTage:SLEW"
    own = f'{{command: "{header}", query: "{header}?", unit: {unit}}}' if unit else header
    line = f"  slew_rising: {header}     "
    text = dialect_text(dialect).replace(f"dialect: {dialect}", f"dialect: {NAME}", 1)
    assert text.count(line) == 1
    stand = lay_out(tmp_path, dialect, text.replace(line, f"  slew_rising: {own}     "))
    with played(stand, tmp_path / "run") as (outcome, network):
        told = [each for each in outcome.deviations if each.startswith(("main was told", "aux was told"))]
        assert len(told) == (2 if unit == "V/ms" else 0)
        assert outcome.completed is (unit != "mV/s")
        assert bool(network.energised("left.1")) is (unit != "mV/s")
