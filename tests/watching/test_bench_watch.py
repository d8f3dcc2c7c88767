"""A log of a bench that runs already, in virtual time: rows, what was missed, and what it never does."""

from __future__ import annotations

import errno
import math
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from tests.said import says
from tests.watching.station import BENCH, UNIX, Station

from railwright.dialects.files import dialect_names
from railwright.guard.link import GuardLost
from railwright.guard.session_settings import questions
from railwright.instruments.errors import InstrumentError
from railwright.records.log import Log
from railwright.watching.bench_watch import NotSelected, cautions_of
from railwright.watching.order import OrderError, order_of


@pytest.mark.parametrize(
    ("every", "until", "rows"),
    [("20 ms", "2 s", 101), ("30 ms", "900 ms", 31), ("1 s", "10 s", 11), ("250 ms", "1 s", 5)],
)
def test_rows_are_length_by_interval_and_one(station: Station, every: str, until: str, rows: int) -> None:
    outcome = station.watch("left.1", "right", every=every, until=[until])
    read = station.rows()
    assert (outcome.rows, len(read), outcome.missed) == (rows, rows, {"left": {}, "right": {}})
    step = float(read[1]["time_s"])
    assert [float(row["time_s"]) for row in read] == pytest.approx([n * step for n in range(rows)], abs=2e-6)
    assert all(0.0 <= float(row["left_delay_s"]) < step for row in read)


def test_a_row_says_what_is_true_behind_the_supply(station: Station) -> None:
    station.watch("left", every="20 ms", until=["200 ms"])
    for row in station.rows():
        # 12 V into 24 ohms and 1 m of pair, 5 mV and 2 mA of accuracy.
        assert float(row["left.1_voltage_V"]) == pytest.approx(station.network.voltage("left.1"), abs=6e-3)
        assert float(row["left.1_current_A"]) == pytest.approx(12.0 / 24.0, abs=5e-3)
        assert (row["left.1_mode"], row["left.2_mode"], row["missed"]) == ("CV", "off", "")


def test_each_row_has_both_clocks(station: Station) -> None:
    import datetime as dt

    station.watch("left.1", every="500 ms", until=["2 s"])
    begun = dt.datetime.fromisoformat(station.json("watch.json")["reading_begins"]).timestamp()
    assert begun - UNIX == pytest.approx(station.loop.now() - 2.0, abs=0.2)
    for row in station.rows():
        wall = dt.datetime.fromisoformat(row["utc"]).timestamp()
        assert wall - begun == pytest.approx(float(row["time_s"]), abs=2e-6)


def test_a_clock_that_was_set_is_an_event_and_moves_no_row(station: Station) -> None:
    station.meanwhile(1.0, lambda: setattr(station, "shift", 3600.0))
    station.watch("left.1", every="100 ms", until=["2 s"])
    assert [each["what"] for each in station.events()].count("clock") == 1
    assert len(station.rows()) == 21
    assert float(station.rows()[-1]["time_s"]) == 2.0


SELECT = ("selected-output", "selected-apart", "named-output")
"""Dialects that select an output before they speak to it."""


@pytest.mark.parametrize("dialect", sorted(set(dialect_names()) - set(SELECT)))
def test_it_only_asks(tmp_path: Path, dialect: str) -> None:
    bench = BENCH.replace("dialect: channel-list", f"dialect: {dialect}")
    outputs = "{1: OUTPUT}" if dialect == "single-output" else "{1: OUTPUT, 2: {same_as: 1}}"
    bench = bench.replace("{1: OUTPUT, 2: {same_as: 1}}", outputs, 1)
    with Station(tmp_path, bench=bench) as station:
        station.watch("left", every="100 ms", until=["2 s"])
        session = station.bench.supplies["left"].session_settings
        spoken = {each.text for each in (*session.opening, *session.closing)}
        asked = [line for line in station.sent if line not in spoken]
        assert len(asked) > 21
        assert all(questions(line) == line.count(";") + 1 for line in asked)


@pytest.mark.parametrize("dialect", SELECT)
def test_a_supply_that_selects_is_left_alone_without_leave(tmp_path: Path, dialect: str) -> None:
    with Station(tmp_path, bench=BENCH.replace("dialect: channel-list", f"dialect: {dialect}")) as station:
        with pytest.raises(NotSelected) as refused:
            station.watch("left.2", every="100 ms", until=["1 s"])
        assert says(str(refused.value), "left", "selecting", "panel")
        assert (station.connections, station.sent) == ([], [])
        assert not (tmp_path / "log").exists()


@pytest.mark.parametrize("dialect", SELECT)
def test_with_leave_it_is_read_and_said_before(tmp_path: Path, dialect: str) -> None:
    with Station(tmp_path, bench=BENCH.replace("dialect: channel-list", f"dialect: {dialect}")) as station:
        order = order_of(station.bench, ["left.2"], select=True)
        (selecting,) = station.bench.supplies["left"].dialect.select(2)
        assert any(says(line, "left", selecting) for line in cautions_of(station.bench, order))
        outcome = station.watch("left.2", every="100 ms", until=["1 s"], select=True)
        assert (outcome.rows, outcome.missed) == (11, {"left": {}})


# What begins and ends it


def test_it_begins_and_ends_at_what_is_read(station: Station) -> None:
    station.turn(2.0, "left.1", 5.0)
    station.turn(4.0, "left.1", 9.0)
    outcome = station.watch(
        "left.1",
        every="100 ms",
        begin=["left.1 voltage below 6 V"],
        until=["left.1 voltage above 8 V for 500 ms", "20 s"],
    )
    read = station.rows()
    assert float(read[0]["time_s"]) == 0.0
    assert float(read[0]["left.1_voltage_V"]) < 6.0
    # 2 s at 5 V, then 0.5 s at 9 V: it settles within an interval.
    assert outcome.duration == pytest.approx(2.5, abs=0.25)
    assert float(read[-1]["left.1_voltage_V"]) == pytest.approx(9.0, abs=0.02)
    assert outcome.why == "left.1 voltage above 8 V for 500 ms"


def test_a_count_ends_it(station: Station) -> None:
    assert station.watch("left.1", every="20 ms", until=["17 rows"]).rows == len(station.rows()) == 17


def test_who_stops_it_has_a_whole_log(station: Station) -> None:
    station.meanwhile(1.0, lambda: station.stop.request("interrupted by Ctrl-C (SIGINT)"))
    outcome = station.watch("left.1", every="100 ms")
    assert outcome.rows == len(station.rows()) == pytest.approx(10, abs=1)
    assert station.json("watch.json")["ended"] == "interrupted by Ctrl-C (SIGINT)"


# On change


def test_on_change_rows_are_written_where_something_moved(station: Station) -> None:
    own = order_of(station.bench, ["left.1"]).outputs[0]
    station.turn(1.03, own, 12.5)
    station.turn(2.03, own, 12.51)
    outcome = station.watch("left.1", every="100 ms", until=["3 s"], change=["50 mV", "100 mA"])
    read = station.rows()
    assert outcome.instants == 31
    assert outcome.statistics.outputs[own].quantities["voltage"].count == 31
    # The first, the step (which may be read on its way), and the last, in which nothing moved.
    times = [float(row["time_s"]) for row in read]
    assert times[0] == 0.0
    assert times[-1] == 3.0
    assert 3 <= len(times) <= 4
    assert all(1.0 <= time <= 1.3 for time in times[1:-1])


def test_on_change_no_reading_lies_further_from_the_row_before_it(station: Station) -> None:
    for number in range(20):
        station.turn(0.5 + 0.1 * number, "left.1", 12.0 + 0.03 * number)
    station.watch("left.1", every="20 ms", until=["3 s"], change=["100 mV"])
    written = [float(row["left.1_voltage_V"]) for row in station.rows()]
    assert 5 <= len(written) <= 8  # 0.57 V in steps of more than 0.1 V, the first and the last
    assert all(abs(b - a) > 0.1 for a, b in pairwise(written[:-1]))
    assert abs(written[-1] - written[-2]) <= 0.1


# What was missed


@pytest.mark.parametrize("fault", ["reset at 1 s", "reboots at 1 s", "garbage at 1 s", "half answer at 1 s"])
def test_a_lost_link_is_told_in_the_rows_and_the_supply_read_again(tmp_path: Path, fault: str) -> None:
    with Station(tmp_path, [f"left: {fault}"]) as station:
        outcome = station.watch("left.1", "right.1", every="100 ms", until=["5 s"])
        read = station.rows()
        assert len(read) == 51
        gone = [row for row in read if row["missed"]]
        assert gone
        assert all(row["left.1_voltage_V"] == "nan" for row in gone)
        assert all(row["right.1_voltage_V"] != "nan" for row in read)
        assert outcome.missed["right"] == {}
        assert sum(outcome.missed["left"].values()) == len(gone)
        assert outcome.lost["left"] >= 1
        assert read[-1]["missed"] == ""
        whats = [each["what"] for each in station.events()]
        assert whats.count("lost") == outcome.lost["left"]
        assert "back" in whats
        told = [each for each in station.events() if each["what"] == "missed"]
        assert sum(each["rows"] for each in told) == outcome.missed["left"].get("no link", 0)
        assert station.json("watch.json")["missed_rows"] == outcome.missed


def test_answers_that_come_late_are_kept_with_their_delay(tmp_path: Path) -> None:
    with Station(tmp_path, ["left: slow 130 ms at 1 s for 2 s"]) as station:
        outcome = station.watch("left.1", "right.1", every="50 ms", until=["5 s"])
        read = station.rows()
        assert len(read) == 101
        late = [row for row in read if row["missed"] == "left: late"]
        slow = [row for row in read if 1.2 <= float(row["time_s"]) < 2.8]
        # One answer in 130 ms to a question every 50 ms: two of three rows have none, and no more.
        assert len(late) == outcome.missed["left"]["late"]
        assert 0.55 <= sum(row["missed"] != "" for row in slow) / len(slow) <= 0.75
        assert all(row["right.1_voltage_V"] != "nan" for row in read)
        assert any(each["what"] == "missed" for each in station.events()) is False  # each gap is short


def test_an_instrument_that_is_not_there_is_refused_and_nothing_written(tmp_path: Path) -> None:
    with Station(tmp_path, ["left: refuses at 0 s"]) as station:
        with pytest.raises(InstrumentError, match="left"):
            station.watch(every="100 ms", until=["1 s"])
        assert not (tmp_path / "log").exists()


def test_answers_out_of_step_are_found_by_who_it_says_it_is(station: Station) -> None:
    def shifted() -> None:
        told = {"kind": "poll", "tag": "settings", "name": "left", "series": 1, "turn": -1}
        station.links[0].inbox.append({**told, "answer": "12.001,0.5"})

    station.meanwhile(1.0, shifted)
    outcome = station.watch("left.1", every="100 ms", until=["5 s"])
    assert outcome.lost["left"] == 1
    assert any(says(each["told"], "left", "12.001") for each in station.events())
    assert station.rows()[-1]["missed"] == ""


def test_who_it_says_it_is_is_asked_again_and_again(station: Station) -> None:
    station.watch("left.1", every="1 s", until=["25 s"])
    assert station.sent.count("*IDN?") >= 4  # twice in the beginning, then every 10 s


def test_after_off_was_asked_for_it_leaves_the_supplies_alone_and_goes_on(station: Station) -> None:
    station.meanwhile(2.0, lambda: station.links[0].guard.switch_off("switched off by 'railwright off'"))
    outcome = station.watch("left.1", every="500 ms", until=["20 s"])
    assert len(station.links) == 2
    # 15 s without a word to them.
    assert outcome.missed["left"]["no link"] == pytest.approx(30, abs=1)
    assert station.rows()[-1]["missed"] == ""


def test_a_guard_that_is_gone_is_replaced(station: Station) -> None:
    def gone() -> None:
        station.links[0].wait = _lost  # type: ignore[method-assign]

    def _lost(until: float) -> Any:
        raise GuardLost("the guard has died")

    station.meanwhile(1.0, gone)
    outcome = station.watch("left.1", every="100 ms", until=["5 s"])
    assert (outcome.rows, len(station.links), outcome.lost["left"]) == (51, 2, 1)
    assert station.rows()[-1]["missed"] == ""


def test_a_trip_and_an_output_that_goes_off_are_events(tmp_path: Path) -> None:
    with Station(tmp_path, ["left.1: overheats at 3 s", "left.2: goes off at 4 s"]) as station:
        station.set("left.1", 12.0)
        station.set("left.2", 5.0)
        station.watch("left", every="50 ms", until=["5 s"])
        told = [each["told"] for each in station.events() if each["what"] == "output"]
        assert any(says(line, "left.1", "tripped", "OTP") for line in told)
        assert any(says(line, "left.2", "off") for line in told)
        assert {row["left.1_mode"] for row in station.rows()} >= {"CV", "tripped"}


# A disk that takes no more


def test_a_full_disk_ends_the_log_with_whole_lines(station: Station, monkeypatch: pytest.MonkeyPatch) -> None:
    room, put = [20_000], Log._put

    def full(self: Log, data: memoryview) -> int:
        if not self.path.name.startswith("rows"):
            return put(self, data)
        if len(data) > room[0]:
            raise OSError(errno.ENOSPC, "No space left on device")
        room[0] -= len(data)
        return put(self, data)

    monkeypatch.setattr(Log, "_put", full)
    outcome = station.watch("left.1", every="2 ms", until=["60 s"])
    assert "No space left" in outcome.failed
    read = station.rows()
    assert len(read) == outcome.rows - outcome.dropped
    assert all(None not in row.values() and row["missed"] is not None for row in read)
    assert station.json("watch.json")["not_written"]


# What is asked for


@pytest.mark.parametrize(
    ("outputs", "asked", "argument", "named"),
    [
        (["left.7"], {}, "outputs", ("right", "left.1", "left.7")),
        ([], {"every": "0 s"}, "every", ("above 0", "0 s")),
        ([], {"every": "2 d"}, "every", ("1 ms", "1 day", "2 d")),
        ([], {"every": "5 mV"}, "every", ("a time", "5 mV")),
        ([], {"change": ["5 ohm"]}, "change", ("10 mV", "5 mA", "5 ohm")),
        ([], {"change": ["5 mV", "6 mV"]}, "change", ("one voltage", "6 mV")),
        ([], {"change": ["-5 mV"]}, "change", ("below 0", "-5 mV")),
        ([], {"form": "xls"}, "form", ("csv", "parquet", "xls")),
        ([], {"file_rows": 0}, "file_rows", ("1", "0")),
        ([], {"file_lasts": "100 ms"}, "file_lasts", ("the interval", "100 ms")),
        ([], {"begin": ["5 rows"]}, "begin", ("begins", "5 rows")),
        (["left"], {"until": ["right.1 voltage above 1 V"]}, "until", ("left.1", "left.2", "right.1")),
    ],
)
def test_an_order_that_serves_not_names_its_argument(
    station: Station, outputs: list[str], asked: dict[str, Any], argument: str, named: tuple[str, ...]
) -> None:
    with pytest.raises(OrderError) as refused:
        order_of(station.bench, outputs, **asked)
    assert refused.value.argument == argument
    assert says(refused.value.told, *named)


def test_a_supply_stands_for_its_outputs_and_nothing_for_all(station: Station) -> None:
    assert order_of(station.bench, ["right", "left.2", "right.1"]).outputs == ("right.1", "right.2", "left.2")
    assert order_of(station.bench).outputs == ("left.1", "left.2", "right.1", "right.2")
    assert math.isinf(order_of(station.bench).most)
