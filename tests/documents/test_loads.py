"""The loads' fields in a device document: what is read of them, and one line for each thing that is wrong."""
# ruff: noqa: E501 - the lines stand here as they are printed

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest
from tests.bench import DEVICE, copy_demo, edit

from railwright.documents.loader import load_documents
from railwright.documents.sources import DocumentErrors
from railwright.physics.circuit import Load

TODAY = dt.date(2026, 3, 2)
OLD = "- capacitor: {capacitance: 1000 uF ± 20 %, esr: 60 mohm}"
AT, COLUMN = "tide-gauge.device.yaml:16:", 9
"""Line of the load in the demo's document, and the column in which it begins."""


def loaded(tmp_path, text, *files):
    """The parameters of the load that is written in the demo's line 16; files: (name, content)."""
    procedure = copy_demo(tmp_path)
    for name, content in files:
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_text(content, encoding="utf-8")
    edit(tmp_path / DEVICE, OLD, f"- {text}")
    entry = load_documents(procedure).device.inputs["main"].load[0]
    return entry.kind, entry.parameters


def lines(tmp_path, monkeypatch, text, *files):
    """What loading says of it."""
    monkeypatch.chdir(tmp_path)
    with pytest.raises(DocumentErrors) as caught:
        loaded(tmp_path, text, *files)
    return [str(problem).removeprefix(f"{tmp_path}/") for problem in caught.value.problems]


@pytest.mark.parametrize(
    ("text", "values", "table", "assumed"),
    [
        (
            "filament_lamp: {rated_voltage: 12 V, rated_power: 21 W ± 5 %}",
            [12.0, 21.0, 0.0, 0.0, 0.1],
            (),
            3,
        ),
        (
            "filament_lamp: {rated_voltage: 12 V, rated_current: 0.5 A, cold_resistance: 2 ohm, warm_up: 50 ms .. 70 ms}",
            [12.0, 0.0, 0.5, 2.0, 0.06],
            (),
            1,
        ),
        (
            "dc_motor: {resistance: 0.8 ohm, torque_constant: 30 mN·m/A, inertia: 400 g·cm², friction: 3 mN*m}",
            [0.8, 0.03, 4e-5, 1e-3, 3e-3, 0.0, 0.0],
            (),
            2,
        ),
        (
            "led_string: {count: 4, forward_voltage: 3.1 V ± 0.2 V, rated_current: 20 mA, series_resistance: 330 ohm}",
            [4.0, 3.1, 0.02, 330.0, 0.0, 2.0],
            (),
            3,
        ),
        (
            "battery: {open_circuit_voltage: 12.4 V, series_resistance: 0.2 ohm, capacity: 2 Ah, state_of_charge: 40 %}",
            [12.4, 0.2, 7200.0, 0.4, -1.0],
            (),
            1,
        ),
        (
            "battery: {curve: [{charge: 0 %, voltage: 11 V}, {charge: 100 %, voltage: 13 V}], series_resistance: 0.2 ohm, capacity: 2 Ah, state_of_charge: 0 %, diode_drop: 0.4 V}",
            [0.0, 0.2, 7200.0, 0.0, 0.4],
            (0.0, 11.0, 1.0, 13.0),
            1,
        ),
        ("coil: {resistance: 60 ohm ± 10 %, inductance: 300 mH}", [60.0, 0.3, 0.7, 0.05], (), 2),
        (
            "iv_table: {points: [{voltage: 6 V, current: 0.5 A}, {voltage: 12 V, current: 0.3 A}], factor: 100 % ± 10 %}",
            [1.0],
            (0.0, 0.0, 6.0, 0.5, 12.0, 0.3),
            1,
        ),
        (
            "profile: {points: [{time: 1 s, power: 2 W}, {time: 3 s, power: 4 W}], repeats: always, compliance: 6 V}",
            [6.0, 1.0, 0.0, 0.0],
            (1.0, 1.0, 0.0, 2.0, 2.0, 4.0),
            1,
        ),
        (
            "converter: {output_power: 3 W, efficiency: 80 %, starts_at: 8 V, stops_at: 6 V, soft_start: 0 s, input_current_limit: 1 A}",
            [3.0, 0.8, 8.0, 6.0, 0.0, 1.0, 0.0],
            (),
            2,
        ),
    ],
)
def test_what_is_read_makes_a_load_of_the_circuit(tmp_path, text, values, table, assumed):
    kind, parameters = loaded(tmp_path, text)
    chosen, assumptions = parameters.floats(lambda name, value: value.nominal)
    assert list(chosen.values()) == pytest.approx(values)
    assert parameters.table() == pytest.approx(table)
    assert len(assumptions) == assumed
    assert all(sentence for sentence in assumptions)
    assert Load(kind, chosen, parameters.table()).kind == kind


LAMP = "filament_lamp: {rated_voltage: 12 V, "
LED = "led_string: {count: 4, forward_voltage: 3.1 V, rated_current: 20 mA, series_resistance: 330 ohm"
CELL = "battery: {series_resistance: 0.2 ohm, capacity: 2 Ah, state_of_charge: 40 %, "
CONVERTER = "converter: {output_power: 3 W, efficiency: 80 %, starts_at: 8 V, stops_at: 6 V, "
# A load, where in it (the last time that these words come) something is wrong, and what is said.
BROKEN = (
    (LAMP + "rated_power: 21 A}", "21 A", "expected a power such as '3.6 W', got '21 A': 'A' is a current"),
    (
        LAMP + "warm_up: 0.1 s}",
        "filament_lamp",
        "expected exactly one of rated_power, rated_current, got none of them",
    ),
    (
        LAMP + "rated_power: 21 W, rated_current: 2 A}",
        "2 A",
        "expected exactly one of rated_power, rated_current, got both",
    ),
    (
        LAMP + "rated_power: 24 W, cold_resistance: 5 ohm}",
        "5 ohm",
        "expected 'cold_resistance' between 1/21 and 1/2 of the hot one, which is 6 Ω to 6 Ω, got 5 ohm; correct it, or the rating",
    ),
    (
        LAMP + "rated_power: 24 W, cold_resistance: 0.1 ohm}",
        "0.1 ohm",
        "expected 'cold_resistance' between 1/21 and 1/2 of the hot one, which is 6 Ω to 6 Ω, got 0.1 ohm; correct it, or the rating",
    ),
    (
        LAMP + "rated_power: 24 W, warm_up: 0 s}",
        "0 s",
        "expected a time above zero, got '0 s'",
    ),
    (
        "dc_motor: {resistance: 0.8 ohm, torque_constant: 30 mN*m, inertia: 400 g*cm2}",
        "30 mN*m",
        "expected a torque per current such as '25 mN*m/A', got '30 mN*m': 'mN*m' is an energy; did you mean 'mN*m/A'?",
    ),
    (
        "dc_motor: {resistance: 0.8 ohm, torque_constant: 30 mN*m/A, inertia: 400 g*cm2, friction: 1 mN*m ± 2 mN*m}",
        "1 mN*m ± 2 mN*m",
        "expected a torque of zero or more, got '1 mN*m ± 2 mN*m'; correct its bounds",
    ),
    (LED.replace("4", "4.5") + "}", "4.5", "expected a whole number of LEDs, got 4.5; write '4'"),
    (LED.replace("4", "4 ± 1") + "}", "4 ± 1", "expected a whole number of LEDs, got 4 ± 1; write '4'"),
    (
        LED.replace("3.1 V", "12.4 V") + "}",
        "12.4 V",
        "expected 0.5 V to 10 V in 'forward_voltage', got 12.4 V; it is that of one LED, and 'count' says how many there are",
    ),
    (
        LED + ", dynamic_resistance: 1 ohm}",
        "1 ohm",
        "expected 'dynamic_resistance' from 2.59 Ω on, which is that of the junction alone, got 1 ohm; correct it, or give a lower 'ideality'",
    ),
    (
        LED + ", dynamic_resistance: 150 ohm}",
        "150 ohm",
        "expected 'dynamic_resistance' times 'rated_current' well below 'forward_voltage', got 150 ohm",
    ),
    (LED + ", ideality: 20}", "20", "expected 1 to 8 in 'ideality', got 20"),
    (
        CELL + "diode_drop: 1 V}",
        "battery",
        "expected exactly one of open_circuit_voltage, curve, got none of them",
    ),
    (
        CELL.replace("40 %", "140 %") + "open_circuit_voltage: 12 V}",
        "140 %",
        "expected a state of charge up to 100 %, got 140 %",
    ),
    (
        CELL + "curve: [{charge: 0 %, voltage: 11 V}]}",
        "curve",
        "expected at least two points in 'curve', got one; write one as 'open_circuit_voltage'",
    ),
    (
        CELL + "curve: [{charge: 0 %, voltage: 11 V}, {charge: 0 %, voltage: 12 V}]}",
        "curve",
        "expected rising charges in 'curve', and voltages that never fall, got point 2 at 0 % and 12 V after 0 % and 11 V",
    ),
    (
        CELL + "curve: [{charge: 0 %, voltage: 11 V}, {charge: 50, voltage: 12 V}]}",
        "curve",
        "expected charges up to 100 % in 'curve', got 5000 %",
    ),
    (
        CELL + "curve: [{charge: 0 %, volts: 11 V}, {charge: 50 %, voltage: 12 V}]}",
        "volts",
        "unknown key 'volts'; did you mean 'voltage'?",
    ),
    (
        "coil: {resistance: 60 ohm}",
        "coil",
        "expected a key 'inductance' here, got none; add it, such as 'inductance: 2 uH'",
    ),
    (
        "iv_table: {points: []}",
        "points",
        "expected at least one point above 0 V in 'points', got none; add '{voltage: 12 V, current: 1 A}'",
    ),
    (
        "iv_table: {points: [{voltage: 6 V, current: 1 A}, {voltage: 5 V, current: 1 A}]}",
        "points",
        "expected rising voltages in 'points', got point 2 at 5 V after 6 V; put them in order",
    ),
    (
        "iv_table: {points: [{voltage: 0 V, current: 1 A}, {voltage: 5 V, current: 1 A}]}",
        "points",
        "expected a point of 0 A at 0 V in 'points', as a load feeds nothing there, got 1 A; correct it",
    ),
    (
        "iv_table: {points: [{voltage: -1 V, current: 0 A}, {voltage: 5 V, current: 1 A}]}",
        "points",
        "expected a point of 0 A at 0 V in 'points', as a load feeds nothing there, got none; correct it",
    ),
    ("profile: {compliance: 2 V}", "profile", "expected exactly one of file, points, got none of them"),
    (
        "profile: {points: [{time: 0 s, current: 1 A}, {time: 1 s, power: 1 W}]}",
        "points",
        "expected currents or powers in 'points', got both; write one of them",
    ),
    (
        "profile: {points: [{time: 0 s}, {time: 1 s, power: 1 W}]}",
        "{time: 0 s}",
        "expected exactly one of current, power, got none of them",
    ),
    (
        "profile: {points: [{time: 1 s, current: 1 A}, {time: 0.5 s, current: 1 A}, {time: 2 s, current: 1 A}]}",
        "points",
        "expected times in order in 'points', got point 2 at 0.5 s after 1 s",
    ),
    (
        "profile: {points: [{time: 1 s, current: 1 A}]}",
        "points",
        "expected at least two points at different times in 'points'",
    ),
    (
        "profile: {points: [{time: 0 s, current: 1 A}, {time: 1 s, current: 1 A}], starts_at: 9 V}",
        "9 V",
        "expected both 'starts_at' and 'stops_at', got no 'stops_at'; add it",
    ),
    (
        "profile: {points: [{time: 0 s, current: 1 A}, {time: 1 s, current: 1 A}], starts_at: 9 V, stops_at: 9 V}",
        "9 V",
        "expected 'stops_at' wholly below 'starts_at', got 9 V and 9 V",
    ),
    (
        "profile: {points: [{time: 0 s, current: 1 A}, {time: 1 s, current: 1 A}], repeats: ever}",
        "ever",
        "expected 'once' or 'always', got 'ever'",
    ),
    (
        CONVERTER + "drop_out: 9 V}",
        "9 V",
        "expected 'drop_out' wholly below 'starts_at', got 9 V and 8 V",
    ),
    (CONVERTER + "input_current_limit: 0 A}", "0 A", "expected a current above zero, got '0 A'"),
)


@pytest.mark.parametrize(("text", "at", "message"), BROKEN)
def test_what_is_said_of_a_broken_load(tmp_path, monkeypatch, text, at, message):
    column = COLUMN + text.rindex(at)
    assert lines(tmp_path, monkeypatch, text) == [f"{AT}{column}: {message}"]


def profile(name):
    return f"profile: {{file: {name}, compliance: 2 V}}"


@pytest.mark.parametrize(
    "content",
    [
        "time_s,current_A\n0,0.01\n0.5,1.5\n1,0.02\n",
        "time,current\n0,0.01\n0.5,1.5\n1,0.02\n",
        "time_s;current_A\n0;0,01\n0,5;1,5\n1;0,02\n",
        "t [s]\tcurrent [mA]\n0\t10\n0.5\t1500\n1\t20\n",
        "\ufefftime_ms;note;current_mA\r\n1000;a, b;10\r\n1500;;1500\r\n2000;x;20\r\n",
        'current_A, time_s\n0.01, 0\n"1.5", 0.5\n2e-2, 1\n',
    ],
)
def test_a_file_beside_the_document(tmp_path, content):
    _, parameters = loaded(tmp_path, profile("data/burst.csv"), ("data/burst.csv", content))
    assert parameters.table() == pytest.approx((0.0, 0.0, 0.0, 0.01, 0.5, 1.5, 1.0, 0.02))


def test_a_file_of_powers(tmp_path):
    _, parameters = loaded(tmp_path, profile("b.csv"), ("b.csv", "time_s,power_mW\n0,10\n1,20\n"))
    assert parameters.table() == pytest.approx((0.0, 1.0, 0.0, 0.01, 1.0, 0.02))


HEAD = "time_s,current_A\n"
OTHERS = "expected a number as in the other rows"
REMEDY = "correct it or remove the row"


@pytest.mark.parametrize(
    ("content", "expected"),
    [
        ("", "1:1: expected rows of numbers below a header, got an empty file"),
        (
            "0,1\n1,1\n",
            "1:1: expected a column of the time among column 1, column 2, got none; call it 'time_s'",
        ),
        (
            "time_s,amps\n0,1\n",
            "1:1: expected one column 'current_A' or 'power_W' in the header, got time, amps",
        ),
        (
            "time_s,current_A,power_W\n0,1,2\n",
            "1:1: expected one column 'current_A' or 'power_W' in the header, got 'current_A' and 'power_W'",
        ),
        (
            "time_s,current_V\n0,1\n",
            "1:8: expected a unit of A for 'current', got 'V', another unit; correct the header",
        ),
        (HEAD + "0,1\n1,x\n2,2\n", f"3:3: {OTHERS}, got 'x'; {REMEDY}"),
        (HEAD + "0,1\n1,nan\n2,2\n", f"3:3: {OTHERS}, got 'nan'; {REMEDY}"),
        (HEAD + "0,1\n1, \n2,2\n", f"3:4: {OTHERS}, got an empty cell; {REMEDY}"),
        (HEAD + "0,1\n1\n2,2\n", "3:1: expected 2 columns as in the other rows, got 1"),
        (HEAD + "0,1\n\n2,2\n", "3:1: expected 2 columns as in the other rows, got an empty line; remove it"),
        (
            HEAD + "0,1\n1,5,2\n2,2\n",
            "3:1: expected 2 columns as in the other rows, got 3; write decimals with a point",
        ),
        (HEAD + "0,1\n2,1\n1,2\n", "4:1: expected a time that never runs back, got one before the last"),
        (HEAD + "0,1\n", "2:1: expected at least two samples, got 1"),
        (HEAD + "0,1\n0,2\n", "2:1: expected samples at two times at least, got 2 at one"),
        (HEAD, "2:1: expected at least two samples below the header, got none"),
        (HEAD + '0,1\n1,"2\n', "3:1: expected cells with numbers, got a quote that does not close"),
        (
            HEAD + "".join(f"{row},1\n" for row in range(200_001)),
            "1:1: expected at most 200,000 samples, got more; leave out those on straight lines",
        ),
    ],
)
def test_what_is_said_of_a_broken_file(tmp_path, monkeypatch, content, expected):
    assert lines(tmp_path, monkeypatch, profile("b.csv"), ("b.csv", content)) == [f"b.csv:{expected}"]


def test_what_is_said_of_many_broken_rows_has_an_end(tmp_path, monkeypatch):
    content = HEAD + "0,1\n" * 10 + "".join(f"{row},x\n" for row in range(100))
    assert len(lines(tmp_path, monkeypatch, profile("b.csv"), ("b.csv", content))) == 5


def test_a_file_that_is_not_there_is_a_problem_of_the_document(tmp_path, monkeypatch):
    expected = (
        f"{AT}25: expected a CSV, Parquet or HDF5 file in '{tmp_path}/b.csv', got none: no such file or "
    )
    expected += "directory; correct the path"
    assert lines(tmp_path, monkeypatch, profile("b.csv")) == [expected]
    (tmp_path / "x").mkdir()
    expected = f"{AT}25: expected a path relative to this document, got '/b.csv'; put the file beside it"
    assert lines(tmp_path, monkeypatch, profile("/b.csv")) == [expected]


def test_one_file_for_two_loads_is_read_once(tmp_path):
    procedure = copy_demo(tmp_path)
    edit(tmp_path / DEVICE, OLD, f"- {profile('b.csv')}\n      - {profile('b.csv')}")
    (tmp_path / "b.csv").write_text(HEAD + "0,1\n1,2\n")
    first, second = load_documents(procedure).device.inputs["main"].load[:2]
    assert first.parameters.table() == second.parameters.table() == (0.0, 0.0, 0.0, 1.0, 1.0, 2.0)


def test_the_rehearsal_and_the_twins_play_what_the_file_holds(tmp_path):
    from railwright.rehearsal.rehearse import rehearse
    from railwright.settings.settle import settle
    from railwright.twin.truth import Truth
    from railwright.twin.wiring import wire

    procedure = copy_demo(tmp_path)
    edit(tmp_path / DEVICE, OLD, f"{OLD}\n      - {profile('b.csv')}")
    (tmp_path / "b.csv").write_text("time_s,current_mA\n0,0\n1.5,0\n1.5,300\n1.6,300\n1.6,0\n")
    documents = load_documents(procedure)
    wiring = wire("left", documents.bench, documents.device, documents.procedure, Truth(1))
    (main,) = (branch for branch in wiring.circuit.branches if branch.name == "main")
    kinds = [load.kind for load in main.loads]
    assert main.loads[kinds.index("profile")].table[:6] == (0.0, 0.0, 0.0, 0.0, 1.5, 0.0)
    traces = rehearse(documents, settle(documents, TODAY).set_points).record.traces["main"]
    amperes = np.interp([1.49, 1.55, 1.65], traces.time, traces.columns["current"])
    assert amperes[1] - amperes[0] == pytest.approx(0.3, abs=5e-3)
    assert amperes[2] == pytest.approx(amperes[0], abs=5e-3)


def test_the_files_of_a_run_are_complete(tmp_path):
    """Stored documents and their files give the same device; also when the file lies outside their folder."""
    import pickle

    from railwright.records.manifest import write_together
    from railwright.running.folder import copies_of

    station = tmp_path / "station"
    station.mkdir()
    procedure = copy_demo(station)
    (tmp_path / "data").mkdir()
    (tmp_path / "data" / "b.csv").write_text(HEAD + "0,1\n1,2\n")
    edit(station / DEVICE, OLD, f"- {profile('../data/b.csv')}")
    documents = load_documents(procedure)
    copies, placed = copies_of(documents, tmp_path / "run" / "documents")
    write_together(copies, folders=True)
    (tmp_path / "data" / "b.csv").unlink()
    again = load_documents(tmp_path / "run" / placed["procedure"])
    assert again.device == documents.device
    assert again.device.inputs["main"].load[0].parameters.table()[-1] == 2.0
    assert pickle.loads(pickle.dumps(documents)).device == documents.device


def test_a_profile_made_in_code_says_that_nobody_has_read_its_file():
    from railwright.physics.loads.profile import Profile

    with pytest.raises(ValueError, match="was not read"):
        Profile(file="b.csv").table()
