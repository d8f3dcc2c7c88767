"""Keys of `railwright power`: what they ask for, and what is drawn; nothing is energised here."""

from __future__ import annotations

import io
import math
import os
import pty
import time

import pytest

from railwright.cli.keys import KeyPad, pressed
from railwright.cli.power_view import PowerView, trace
from railwright.running.outcome import InputReading
from railwright.running.requests import Requests
from railwright.running.totals import Totals
from railwright.traces import Event, EventKind, Facts, Mode

BY = "A. Keeper"


def asked(keys: str) -> list[tuple[str, float | None, str]]:
    """What keys, one after the other, ask for: what, voltage and text."""
    requests = Requests("main", 9.0, 16.0, 12.0)
    pad = KeyPad(requests, BY)
    found = []
    for key in keys:
        pad.press(key)
        found += requests.take()
    assert {each.by for each in found} <= {BY}
    return [(e.what, None if math.isnan(e.voltage) else e.voltage, e.text) for e in found]


@pytest.mark.parametrize("key", [" ", "o", "0", "\x1b", "\x7f", "\x08", "\t"])
@pytest.mark.parametrize("before", ["", "i", "v9\r", "nonsense\x1b[A"])
def test_one_of_several_keys_is_off_at_once(key: str, before: str) -> None:
    assert asked(before + key)[-1] == ("off", None, "")


@pytest.mark.parametrize("typed", ["v1", "v", "m", "mdim", "v12 V"])
def test_escape_is_off_also_while_something_is_typed(typed: str) -> None:
    assert asked(typed + "\x1b")[-1] == ("off", None, "")


def test_on_takes_a_second_key() -> None:
    assert asked("i") == []
    assert asked("iy") == [("on", None, "")]
    assert asked("i\r") == [("on", None, "")]
    assert asked("ix") == []
    assert asked("ixy") == []
    assert asked("ii") == []


@pytest.mark.parametrize(
    ("typed", "volts"),
    [("9", 9.0), ("15.5", 15.5), ("9 V", 9.0), ("9500 mV", 9.5), ("99\x7f\x7f10", 10.0), ("16", 16.0)],
)
def test_another_level_takes_a_second_key(typed: str, volts: float) -> None:
    assert asked(f"v{typed}\r") == []
    assert asked(f"v{typed}\ry") == [("level", pytest.approx(volts), "")]
    assert asked(f"v{typed}\rn") == []


@pytest.mark.parametrize("typed", ["8.9", "16.1", "-12", "12 A", "", "nan", "1e3", "V"])
def test_a_level_that_was_not_checked_has_no_second_key(typed: str) -> None:
    assert asked(f"v{typed}\ry") == []


def test_a_mark_has_the_time_of_its_key_and_a_text_if_one_is_typed() -> None:
    assert asked("m") == [("mark", None, "1")]
    assert asked("m\rm\r") == [("mark", None, "1"), ("mark", None, "2")]
    assert asked("mvoltage dips\r") == [("mark", None, "1"), ("mark", None, "1: voltage dips")]


def test_the_end_takes_one_key() -> None:
    assert asked("q") == [("end", None, "")]


def test_a_keyboard_that_is_gone_ends_it() -> None:
    master, slave = pty.openpty()
    requests = Requests("main", 9.0, 16.0, 12.0)
    with pressed(KeyPad(requests, BY), slave):
        os.write(master, b"iy")
        os.close(master)
        begun = time.monotonic()
        taken: list[str] = []
        while "end" not in taken and time.monotonic() - begun < 10.0:
            taken += [each.what for each in requests.take()]
            time.sleep(0.01)
    os.close(slave)
    assert taken[-1] == "end"


def reading(at: float, volts: float, amperes: float, mode: Mode = Mode.CV) -> InputReading:
    return InputReading(at, "main", "at load", volts, amperes, mode, "")


def test_charge_and_energy_of_straight_lines() -> None:
    """By hand: V from 0 to 12 V and I from 0 to 2 A in 3 s, then both level for 5 s."""
    totals = Totals("main")
    for at, volts, amperes in ((0.0, 0.0, 0.0), (1.0, 4.0, 2 / 3), (3.0, 12.0, 2.0), (8.0, 12.0, 2.0)):
        totals.see(reading(at, volts, amperes), on=True)
    assert totals.charge == pytest.approx(0.5 * 2.0 * 3.0 + 2.0 * 5.0)
    # The product of two lines from 0 is a square: a third of what stands at its end, times the time.
    assert totals.energy == pytest.approx(24.0 * 3.0 / 3.0 + 24.0 * 5.0)
    assert (totals.voltage, totals.current) == ((0.0, 12.0), (0.0, 2.0))


def test_readings_of_others_and_those_while_off_do_not_count_for_lowest_and_highest() -> None:
    totals = Totals("aux")
    totals.see(reading(0.0, 12.0, 1.0), on=True)
    assert totals.voltage == (math.inf, -math.inf)
    totals = Totals("main")
    totals.see(reading(0.0, 12.0, 1.0), on=True)
    totals.see(reading(1.0, 0.1, 0.0), on=False)
    assert totals.voltage == (12.0, 12.0)
    assert totals.charge == pytest.approx(0.5)


def view_of() -> tuple[PowerView, io.StringIO]:
    stream = io.StringIO()
    return PowerView(stream, "main", 60.0, KeyPad(Requests("main", 9.0, 16.0, 12.0), BY)), stream


def test_figures_state_and_keys_are_drawn() -> None:
    view, _ = view_of()
    assert "main" in view.lines()[0]
    view.event(Event(0.0, "main", EventKind.ON))
    for step in range(20):
        view.reading(reading(0.1 * step, 12.0, 0.5))
        view.reading(InputReading(0.1 * step, "aux", "at load", 99.0, 9.0, Mode.CV, ""))
    drawn = "\n".join(view.lines())
    for figure in ("main on", "12.000 V", "0.5000 A", "6.000 W", "CV", "0.95 C", "11.4 J", "Space", "60 s"):
        assert figure in drawn
    assert "99" not in drawn


@pytest.mark.parametrize(
    ("kind", "rings"),
    [
        (EventKind.TRIPS_OVP, True),
        (EventKind.TRIPS_CURRENT_LIMIT, True),
        (EventKind.STOP_CONDITION, True),
        (EventKind.RUN_ENDS, True),
        (EventKind.WENT_OFF, True),
        (EventKind.ON, False),
        (EventKind.OFF, False),
        (EventKind.ENTERS_CC, False),
    ],
)
def test_the_bell_rings_at_trips_and_stops(kind: EventKind, rings: bool) -> None:
    view, stream = view_of()
    view.event(Event(1.0, "main", kind, Facts()))
    assert ("\a" in stream.getvalue()) is rings


def test_a_trace_is_as_high_as_its_values() -> None:
    assert trace([0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0], 0.1) == "▁▂▃▄▅▆▇█"
    assert trace([12.0, 12.01], 0.1) == "▁▁"
    assert trace([], 0.1) == ""
