"""`railwright waveform`: a shape as a table or a figure."""

import json

import numpy as np
import pytest
from tests.bench import PROCEDURE, edit

from railwright.cli.shapes import shapes_table
from railwright.documents.recording_keys import RecordingParts
from railwright.documents.shape_recordings import recorded_waveform
from railwright.rehearsal.playback import PlayedShape
from railwright.traces import Span
from railwright.waveforms.deviation import Asked, Deviation, edge
from railwright.waveforms.waveform import Waveform

DIPS = "{input: main, standard: IEC 61000-4-29 dip, level: 70 %, duration: 100 ms}"


@pytest.fixture
def dips(documents):
    edit(
        documents / PROCEDURE,
        "  - shape:\n",
        f"  - shape: {DIPS}\n    name: dips\n  - hold: 1 s\n  - shape:\n",
    )
    return documents


def test_the_only_shape_is_shown_with_its_edges(documents, cli):
    """Lines of 2 s are followed by outputs of 12 ms and no edges; one of 100 ms is an edge."""
    done = cli("waveform", PROCEDURE)
    assert done.exit_code == 0
    assert "Shapes, as played" in done.stdout
    edit(documents / PROCEDURE, "{line_to: 6 V, over: 2 s}", "{line_to: 6 V, over: 100 ms}")
    edges = cli("waveform", PROCEDURE).stdout.partition("Edges of 'brown-out' on main")[2]
    assert "80 ms" in edges
    assert len([line for line in edges.splitlines() if "%" in line]) == 3  # heading, jump, line


def test_the_chords_of_a_standards_ripple_are_no_edges(documents, cli):
    shape = "{input: main, standard: ISO 16750-2 starting, level: I}"
    edit(documents / PROCEDURE, "  - shape:\n", f"  - shape: {shape}\n    name: crank\n  - shape:\n")
    data = json.loads(cli("waveform", "--json", "--step", "crank", PROCEDURE).stdout)
    edges = data["shapes"][0]["edges"]
    # From the sweep's end to nominal, the fall to the dip, and the rises after it.
    assert 2 <= len(edges) <= 4
    assert all(edge["asked_duration"] < 0.12 for edge in edges)


def test_an_edge_that_begins_where_the_output_is_off_is_said_to(documents, cli):
    """Nothing is asked while an output is off on purpose: no edge begins at 0 V then."""
    shape = "{input: main, segments: [{hold: 50 ms}, {off_for: 200 ms}, {hold: 500 ms}]}"
    edit(documents / PROCEDURE, "  - shape:\n", f"  - shape: {shape}\n    name: cut\n  - shape:\n")
    table = cli("waveform", "--step", "cut", PROCEDURE).stdout.partition("Edges of 'cut' on main")[2]
    edges = [line.split("  ") for line in table.splitlines() if "V" in line and "ms" in line]
    begins = [[cell.strip() for cell in line if cell.strip()][:3] for line in edges]
    assert begins == [["250 ms", "off", "16 V"]]


def test_json_has_every_edge(dips, cli):
    data = json.loads(cli("waveform", "--json", "--step", "dips", PROCEDURE).stdout)
    (shape,) = data["shapes"]
    assert (shape["step"], shape["input"]) == ("dips", "main")
    assert [edge["to"] for edge in shape["edges"]] == [12.0, pytest.approx(8.4), 12.0]
    assert all(edge["asked_duration"] == 0.0 and edge["duration"] > 1e-3 for edge in shape["edges"])
    assert all(edge["settled"] and edge["reached"] for edge in shape["edges"])
    there, down, up = shape["edges"]
    assert (there["from"], there["before"], there["after"]) == pytest.approx((16.0, 16.0, 12.0), abs=0.01)
    assert (down["from"], down["before"], down["after"]) == pytest.approx((12.0, 12.0, 8.4), abs=0.01)
    assert (up["before"], up["after"]) == pytest.approx((8.4, 12.0), abs=0.01)
    assert up["error"] == pytest.approx(up["after"] - up["to"])


def read(start, goal, voltages):
    """An edge at 0 s that stays for 10 s, as a trace of one value a second plays it."""
    return edge(Asked(0.0, start, goal, 0.0, 10.0), np.arange(11.0), np.array(voltages, dtype=float))


@pytest.mark.parametrize(
    ("edges", "down", "up", "overshoot"),
    [
        ([read(12, 6, [12] + 10 * [6])], "800 ms", "", "0.0%"),
        ([read(12, 6, [12, 5.4] + 9 * [6]), read(6, 12, [6] + 10 * [12])], "727.3 ms", "800 ms", "10.0%"),
        ([read(12, 6, [12] + 10 * [11]), read(12, 6, [12] + 10 * [6])], "not to 90 %", "", "0.0%"),
        ([read(6, 12, 11 * [12])], "", "no edge", ""),
        ([read(6, 12, 11 * [12]), read(6, 12, [6] + 10 * [12])], "", "800 ms", "0.0%"),
        (
            [read(12, 6, [12, 8, 6.3, 6.3, 6.3, 6.3, 6.3, 6.3, 6.3, 6.3, 6])],
            "1.674 s, not settled",
            "",
            "0.0%",
        ),
    ],
)
def test_the_worst_edges_of_a_shape_are_its_headline(edges, down, up, overshoot):
    still = Waveform(np.array([0.0, 20.0]), np.array([12.0, 12.0]))
    played = PlayedShape(
        0,
        Span("own", "shape", 0.0, 20.0, ("main",)),
        "main",
        still,
        (),
        Deviation(0.0, 0.0, 0.0),
        tuple(edges),
        0,
    )
    row = [str(next(iter(column.cells))) for column in shapes_table([played]).columns]
    assert row[5:8] == [down, up, overshoot]


def test_a_csv_is_read_back_as_the_same_waveform(dips, cli):
    done = cli("waveform", "--step", "dips", "--to", "dips.csv", PROCEDURE)
    assert done.exit_code == 0
    path = dips / "dips.csv"
    assert path.read_text("utf-8").splitlines()[0] == "time_s,main_voltage_V,main_limit_A"
    wave, _, _ = recorded_waveform(path, RecordingParts())
    assert wave.duration == pytest.approx(2.1)  # with 1 s before the first edge and after the last
    assert wave.at(np.array([1.05, 1.1])).tolist() == pytest.approx([8.4, 12.0])


def test_a_csv_may_hold_what_is_rehearsed(dips, cli):
    assert cli("waveform", "--step", "dips", "--to", "dips.csv", "--rehearsed", PROCEDURE).exit_code == 0
    head, *rows = (dips / "dips.csv").read_text("utf-8").splitlines()
    assert head.split(",")[3:] == ["main_rehearsed_voltage_V", "main_rehearsed_current_A"]
    table = np.loadtxt(rows, delimiter=",")
    assert table[:, 3].min() == pytest.approx(8.4, abs=0.02)


@pytest.mark.parametrize("ending", ["svg", "png"])
def test_a_figure_is_written(dips, cli, ending):
    done = cli("waveform", "--step", "dips", "--to", f"dips.{ending}", PROCEDURE)
    assert done.exit_code == 0
    assert f"written: dips.{ending}" in done.stdout
    assert (dips / f"dips.{ending}").stat().st_size > 5000


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--step", "dip"], "--step: expected one of the shapes 'dips', 'brown-out', got 'dip'"),
        ([], "--step: expected one of the shapes 'dips', 'brown-out', got none; name one"),
        (["--to", "dips.pdf"], "--to: expected a file that ends in .csv, .svg or .png, got 'dips.pdf'"),
        (["--rehearsed"], "--rehearsed: expected a CSV file after --to, got none; name one"),
    ],
)
def test_what_cannot_be_shown_is_one_line(dips, cli, arguments, said):
    done = cli("waveform", *arguments, PROCEDURE)
    assert done.exit_code == 2
    assert done.stderr.strip() == said


def test_a_table_goes_out_as_it_came_in(documents, cli):
    given = (
        "dwell_s,voltage_V,limit_A,way\n0.3,9.100000000000001,0.9,step\n0.5,14.25,,line\n0.1,12,1.0,step\n"
    )
    (documents / "sequence.csv").write_text(given, "utf-8")
    shape = "  - shape: {input: main, table: sequence.csv}\n    name: sequence\n  - shape:\n"
    edit(documents / PROCEDURE, "  - shape:\n", shape)
    done = cli("waveform", "--step", "sequence", "--table", "out.csv", PROCEDURE)
    assert done.exit_code == 0
    out = (documents / "out.csv").read_text("utf-8")
    assert out == given.replace(",12,", ",12.0,")


def test_a_table_has_no_ripple(documents, cli):
    shape = "{input: main, segments: [{ripple: sine, peak_to_peak: 1 V, frequency: 1 Hz, for: 1 s}]}"
    edit(documents / PROCEDURE, "  - shape:\n", f"  - shape: {shape}\n    name: hum\n  - shape:\n")
    done = cli("waveform", "--step", "hum", "--table", "out.csv", PROCEDURE)
    assert done.exit_code == 2
    assert "'ripple'" in done.stderr
