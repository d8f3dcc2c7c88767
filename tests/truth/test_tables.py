"""A sequence as a table plays what it says, and comes back as it was, to the last digit.

The truth: decimals are compared as Python's `decimal` has them, and times and voltages of what is played are
added up here with exact fractions.
"""

from __future__ import annotations

import random
from decimal import Decimal
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from tests.truth.saying import WIDE, head, record_of_run, station

from railwright.documents.sources import DocumentErrors
from railwright.job import Job
from railwright.waveforms.table import TableError, pieces_of_table, read_table, rows_of, table_text

STEPS = """  - shape: {input: main, table: sequence.csv REPEAT}
    name: sequence
  - power_down: {order: [transducer, main], gap: 20 ms}
record: {every: 10 ms}
"""


def procedure(folder: Path, table: str, repeat: str = "") -> Path:
    folder.mkdir(exist_ok=True)
    (folder / "sequence.csv").write_text(table, "utf-8")
    steps = STEPS.replace(" REPEAT", repeat)
    return station(folder, "procedure: A sequence\n" + head(**WIDE, settle="300 ms") + steps)


PLAIN = "dwell_s,voltage_V,limit_A,way\n0.3,9.1,1.2,step\n0.5,14.25,,line\n0.4,12,0.9,step\n"
TABLES = {
    # A table, and its rows by hand: dwell [s], voltage [V], limit [A], way.
    "plain": (
        PLAIN,
        [("0.3", "9.1", "1.2", "step"), ("0.5", "14.25", None, "line"), ("0.4", "12", "0.9", "step")],
    ),
    "other order and units": (
        "voltage_mV,way,dwell_ms,limit_mA\n9100,,300,1200\n14250,line,500,\n",
        [("0.3", "9.1", "1.2", "step"), ("0.5", "14.25", None, "line")],
    ),
    "semicolons and decimal commas": (
        "dwell_s;voltage_V\n0,123456789012;11,9999999999\n1e-1;12\n",
        [("0.123456789012", "11.9999999999", None, "step"), ("0.1", "12", None, "step")],
    ),
    "all digits": (
        "dwell_us,voltage_V,limit_A\n333333.3333333333,12.000000000000002,0.30000000000000004\n",
        [("0.3333333333333333", "12.000000000000002", "0.30000000000000004", "step")],
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", TABLES)
def test_a_table_is_read_and_written_to_the_last_digit(name: str) -> None:
    text, by_hand = TABLES[name]
    rows = read_table(text)
    nearest = [(float(d), float(v), None if i is None else float(i), way) for d, v, i, way in by_hand]
    assert [(row.dwell, row.voltage, row.limit, row.way) for row in rows] == nearest
    written = table_text(rows)
    assert read_table(written) == rows
    figures = [cell for line in written.splitlines()[1:] for cell in line.split(",")[:3]]
    assert [Decimal(cell) for cell in figures if cell] == [
        Decimal(repr(float(each))) for row in by_hand for each in row[:3] if each is not None
    ]


@pytest.mark.parametrize("seed", range(20))
def test_pieces_and_back_is_the_same_table(seed: int) -> None:
    draw = random.Random(seed)
    lines = ["dwell_s,voltage_V,limit_A,way"]
    for _ in range(draw.randint(1, 60)):
        limit = draw.choice(["", "", repr(draw.uniform(0.1, 2.0)), str(draw.randint(1, 5))])
        way = draw.choice(["step", "line"])
        dwell = repr(draw.choice([0.1, 0.25, 1e-3, draw.random() + 1e-6]))
        lines.append(f"{dwell},{draw.choice([12, 9.7, draw.uniform(0, 30)])!r},{limit},{way}")
    rows = read_table("\n".join(lines))
    assert rows_of(pieces_of_table(rows), 5.0) == rows


@pytest.mark.parametrize(
    ("table", "repeat", "length"),
    [
        (PLAIN, "", Fraction(12, 10)),
        (PLAIN, ", repeat: 3", Fraction(36, 10)),
        (PLAIN, ", repeat: 2, pause_between: 100 ms", Fraction(25, 10)),
        ("dwell_s,voltage_V\n" + "0.1,12\n0.1,11.5\n" * 10, "", Fraction(2)),
    ],
)
def test_what_a_table_says_is_what_is_played(
    table: str, repeat: str, length: Fraction, tmp_path: Path
) -> None:
    path = procedure(tmp_path, table, repeat)
    job = Job.open(path)
    span = job.timeline.spans[1]
    assert span.end - span.start == pytest.approx(float(length), abs=1e-12)
    at = Fraction(0)
    limits = [row for row in read_table(table) if row.limit is not None]
    own = [each for each in job.timeline.limits if each.current is not None]
    turns = job.documents.procedure.steps[1].shape.repeat  # type: ignore[union-attr]
    assert [each.current for each in own] == [row.limit for row in limits] * turns
    actions = [each for each in job.timeline.actions if each.path[:2] == ("steps", 1)]
    for row, action in zip(read_table(table), actions, strict=False):
        assert action.time - span.start == pytest.approx(float(at), abs=1e-12)
        assert action.voltage == row.voltage
        at += Fraction(repr(row.dwell))
    # Rehearsed, and read by the supplies of a run: the voltage at the end of every row that stays.
    for record in (job.rehearse().record, record_of_run(path, seed=2)):
        begin = next(each.start for each in record.spans if each.name == "sequence")
        traces, at = record.traces["main"], Fraction(0)
        for row in read_table(table):
            at += Fraction(repr(row.dwell))
            name = "voltage" if "voltage" in traces.columns else "terminal_voltage"
            now = np.interp(begin + float(at) - 0.013, traces.time, traces.columns[name])
            # A line of 10.3 V/s has 0.13 V to go then, and its readings lag by 10 ms.
            assert now == pytest.approx(row.voltage, abs=0.4 if row.way == "line" else 0.02)


@pytest.mark.parametrize(
    ("table", "place", "said"),
    [
        ("", "1:1", "expected a header"),
        ("dwell_s,voltage_V\n", "1:1", "expected rows"),
        ("dwell_s,voltage_V\n0.1,12 V\n", "2:5", "expected a number for 'voltage_V'"),
        ("dwell_s,voltage_V\n0.1,12\n,12\n", "3:1", "expected a number for 'dwell_s', got none"),
        ("dwell_s,voltage_V\n0.1,12\n-1,12\n", "3:1", "expected a dwell of zero or more"),
        ("dwell_s,voltage_V,way\n0,12,line\n", "2:1", "expected a dwell above zero"),
        ("dwell_s,voltage_V,way\n1,12,ramp\n", "2:6", "expected step or line"),
        ("dwell_s,voltage_V,limit_A\n1,12,0\n", "2:6", "expected a current limit above zero"),
        ("dwell_s,voltag_V\n1,12\n", "1:9", "did you mean 'voltage_V'"),
        ("dwell_s,voltage_V,voltage_mV\n1,12,1\n", "1:19", "expected one column of 'voltage'"),
        ("dwell_s\n1\n", "1:1", "expected a column 'voltage_"),
        ("dwell_s,voltage_V\n1,12,3\n", "2:1", "expected 2 cells"),
        ("dwell_s,voltage_V\n1,1e999\n", "2:3", "expected a number"),
    ],
)
def test_what_is_wrong_with_a_table_is_told_with_its_place(
    table: str, place: str, said: str, tmp_path: Path
) -> None:
    with pytest.raises(TableError):
        read_table(table)
    with pytest.raises(DocumentErrors) as caught:
        Job.open(procedure(tmp_path, table))
    (problem,) = caught.value.problems
    assert str(problem).startswith(f"{tmp_path / 'sequence.csv'}:{place}: "), str(problem)
    assert said in str(problem)
