"""How a CSV file is laid out: what is told of rows that do not fit, and rows that are never passed over."""

from __future__ import annotations

import time
from pathlib import Path

import pytest

from railwright.recordings.columns import Column
from railwright.recordings.csv_layout import recognise
from railwright.recordings.errors import RecordingError
from railwright.recordings.opening import open_recording
from railwright.recordings.samples import Channel

HEAD = "time_s,U_V\n"
REST = "".join(f"{n},{n}\n" for n in range(2, 9))


def refused(text: str) -> str:
    with pytest.raises(RecordingError) as raised:
        recognise(Path("a.csv"), text.splitlines(), whole=True)
    return str(raised.value)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (HEAD + "0,1\n1,2,3\n" + REST, "3:1: expected 2 columns as in the other rows, got 3; write decimals"),
        (HEAD + "0,1\n1\n" + REST, "3:1: expected 2 columns as in the other rows, got 1"),
        (HEAD + "0,1\n1,2,3\n1,2,3\n" + REST, "3:1: expected 2 columns as in the other rows, got 3"),
        (HEAD + "0,1,5\n" + REST, "2:1: expected 2 columns as in the other rows, got 3"),
        (
            HEAD + "0,1\n\n" + REST,
            "3:1: expected 2 columns as in the other rows, got an empty line; remove it",
        ),
        (HEAD + "0,1\n1,2,3\n", "3:1: expected 2 columns as in the other rows, got 3"),
        (HEAD + "0,1\n1,\n", "3:3: expected a number as in the other rows, got an empty cell"),
        (HEAD + "0,1\n1\n2,2\n", "3:1: expected 2 columns as in the other rows, got 1"),
        (HEAD + "0,1\n1,2\nV,3\n" + REST, "4:1: expected a number as in the other rows, got 'V'"),
        (HEAD, "2:1: expected at least two samples below the header, got none"),
        ("# nothing\n\n", "1:1: expected rows of numbers below a header"),
        ("\n\n", "1:1: expected rows of numbers below a header, got an empty file"),
    ],
)
def test_a_row_that_does_not_fit_is_told_at_its_line(text: str, told: str) -> None:
    assert refused(text).startswith(f"a.csv:{told}")


@pytest.mark.parametrize(
    ("text", "line", "names"),
    [
        (HEAD + "\n0,1\n1,2\n", 2, ["time", "U"]),
        ("3\n" + HEAD + "0,1\n1,2\n", 2, ["time", "U"]),
        ("samples,3\nrate,1000\n\n0,1\n1,2\n2,3\n", 3, ["rate", "1000"]),
        ("U [V]\n1,5\n2,5\n3\n", 1, ["U"]),
        (HEAD + "0,1\n", 1, ["time", "U"]),
    ],
)
def test_what_stands_above_the_samples_is_no_row_of_them(text: str, line: int, names: list[str]) -> None:
    layout = recognise(Path("a.csv"), text.splitlines(), whole=True)
    assert (layout.line, [column.name for column in layout.columns]) == (line, names)


def test_a_column_knows_where_its_header_stands() -> None:
    layout = recognise(Path("a.csv"), ["model;X", ' "t (ms)" ; U/V;n', "0;1;a", "1;2;b"], whole=True)
    assert layout.columns == (
        Column("t", "ms", "number", "t (ms)", 2, 2),
        Column("U", "V", "number", "U/V", 2, 13),
        Column("n", "", "text", "n", 2, 17),
    )


def test_a_column_that_is_called_time_goes_before_one_that_has_a_unit_of_time(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_text("delay_ms,time_s,U_V\n" + "1,0,2\n2,1,3\n")
    with open_recording(tmp_path / "a.csv") as recording:
        assert recording.time.place == 1
    (tmp_path / "a.csv").write_text("delay_ms,U_V\n" + "1,0\n2,1\n")
    with open_recording(tmp_path / "a.csv") as recording:
        assert (recording.time.place, recording.time.factor) == (0, 1e-3)


ROWS = "".join(f"{n};{n},5\n" for n in range(20))


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("t_s;U_V\n" + ROWS + "20;1.5\n", "22:4: expected a number in 'U_V', got '1.5'"),
        ("t_s;U_V\n" + ROWS + "20;1_000\n", "22:4: expected a number in 'U_V', got '1_000'"),
        ("t_s;U_V\n" + ROWS + "20;\u0663\n", "22:4: expected a number in 'U_V', got '\u0663'"),
        ("t_s;U_V\n" + ROWS + "20;\u00a01\n", "22:5: expected a number in 'U_V', got '\u00a01'"),
        ("\ufeff" + ROWS + "20;x\n", "21:4: expected a number in 'column 2', got 'x'"),
        (
            ("t_s;U_V\n" + ROWS).replace("\n", "\r\r\n"),
            "2:1: expected one row in each line, got a carriage return",
        ),
        (
            "t_s;U_V;n\n" + ROWS.replace("\n", ";\n") + "20;1;a\rb\n",
            "22:1: expected one row in each line, got",
        ),
    ],
)
def test_a_cell_far_below_that_is_no_number_is_told_at_its_place(
    tmp_path: Path, text: str, told: str
) -> None:
    """Also where it looks like one to other readers than the file's."""
    (tmp_path / "a.csv").write_bytes(text.encode())
    with open_recording(tmp_path / "a.csv") as recording, pytest.raises(RecordingError) as raised:
        recording.read([Channel(1)])
    assert str(raised.value).removeprefix(f"{tmp_path / 'a.csv'}:").startswith(told)


def test_a_time_of_day_that_is_no_text(tmp_path: Path) -> None:
    clock = "".join(f"23:59:{n};{n}\n" for n in range(10, 40))
    (tmp_path / "a.csv").write_bytes(f"time;Sp\xe4nnung [V]\n{clock}23:59:4\xb5;3\n".encode("latin-1"))
    told = ":32:1: expected a time in 'time', got '23:59:4µ'"
    with open_recording(tmp_path / "a.csv") as recording, pytest.raises(RecordingError, match=told):
        recording.read([Channel(1)])


def test_lines_that_alternate_do_not_take_for_ever() -> None:
    begin = time.process_time()
    assert refused("1,2\nx\n" * 15_000).startswith(
        "a.csv:2:1: expected 2 columns as in the other rows, got 1"
    )
    assert refused("x,y\n" * 30_000).startswith("a.csv:1:1: expected rows of numbers")
    assert time.process_time() - begin < 20.0


INPUTS = "time_s,main_voltage_V,main_current_A\n"


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (INPUTS + "".join(f"{n},nan,nan\n" for n in range(9)), "2:3: expected a finite number, got 'nan'"),
        (INPUTS + "0,-inf,NaN\n1,1,NaN\n", "2:3: expected a finite number, got '-inf'"),
        (
            ",".join(f"c{n}" for n in range(100_000)) + "\n" + "1," * 99_999 + "1\n",
            "1:1: expected short lines at first",
        ),
        (INPUTS + "1" * 3_000_000, "2:1: expected short lines at first"),
    ],
)
def test_rows_that_are_no_numbers_or_too_long_are_the_cause_that_is_told(
    tmp_path: Path, text: str, told: str
) -> None:
    path = tmp_path / "scope.csv"
    path.write_text(text)
    with pytest.raises(RecordingError) as caught, open_recording(path):
        pass
    assert str(caught.value).removeprefix(f"{path}:").startswith(told)
