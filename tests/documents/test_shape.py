"""Shape steps in documents: what may be written, where errors stand, and own figures of standards."""

import math
from dataclasses import replace

import numpy as np
import pytest
from tests.bench import PROCEDURE, copy_demo, edit

from railwright.documents.loader import load_documents
from railwright.documents.sources import DocumentErrors
from railwright.documents.standard_tests import pieces_of
from railwright.plan.set_point import waveform
from railwright.plan.timeline import build_timeline
from railwright.recordings.errors import RecordingError
from railwright.records.manifest import write_together
from railwright.running.folder import copies_of
from railwright.waveforms.shapes import Hold, Jump

SHAPE = """  - shape:
      input: main
      segments:
        - {step_to: 12 V}
        - {hold: 500 ms}
        - {line_to: 6 V, over: 2 s}
        - {hold: 500 ms}
        - {line_to: 12 V, over: 2 s}
        - {hold: 500 ms}
"""


def own_waveform(timeline):
    """What the shape of step 3 asks of `main`, on the step's own clock."""
    span = timeline.spans[3]
    own = [
        replace(each, time=each.time - span.start)
        for each in timeline.actions
        if each.path[:2] == ("steps", 3) and each.input == "main"
    ]
    return waveform(0.0, own, 0.0, span.end - span.start)


def with_shape(folder, text):
    """The demo's procedure with another shape before 'brown-out'."""
    path = copy_demo(folder)
    edit(path, SHAPE, f"  - shape: {text}\n{SHAPE}")
    return path


def told(folder, text):
    with pytest.raises(DocumentErrors) as error:
        load_documents(with_shape(folder, text))
    return [str(problem).removeprefix(f"{folder}/") for problem in error.value.problems]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (
            "{input: main, segments: [{ripple: sine, for: 2 s}]}",
            ":31:46: expected 'peak_to_peak' beside 'ripple', got none; add one",
        ),
        (
            "{input: main, segments: [{hold: 2 s, over: 3 s}]}",
            ":31:55: expected 'over' beside 'line_to' only, got it beside 'hold'; remove it",
        ),
        (
            "{input: main, segments: [{repeat: 2, segments: [{hold: 2 V}]}]}",
            ":31:67: expected a time such as '40 ms', got '2 V': 'V' is a voltage",
        ),
        (
            "{input: main, segments: [{ripple: sine, peak_to_peak: 1V, frequency: 9Hz, for: 1s, edges: 0.1s}]}",  # noqa: E501
            ":31:102: expected 'edges' of a trapezoid only, got them of a sine; remove them",
        ),
        (
            "{input: main, segments: [{hold: 1 s}], level: 70 %}",
            ":31:58: expected 'level' beside 'standard' only, got it without; remove it",
        ),
        (
            "{input: main, standard: IEC 61000-4-29 dipp, level: 70 %, duration: 1 s}",
            ":31:36: expected a standard's test, got 'IEC 61000-4-29 dipp'; "
            "did you mean 'IEC 61000-4-29 dip'?",
        ),
        (
            "{input: main, standard: EN 50155 temporary dip, duration: 1 s}",
            ":31:70: expected no 'duration' for EN 50155 temporary dip, got one; remove it",
        ),
        (
            "{input: main, inputs: {main: {segments: [{hold: 1 s}]}}, segments: [{hold: 1 s}]}",
            ":31:26: expected exactly one of input, inputs, got input and inputs",
        ),
        (  # whatever else is wrong with it
            "{input: main, inputs: {main: {segments: [{hold: 1 V}]}}, segments: [{hold: 1 s, x: 2}]}",
            ":31:26: expected exactly one of input, inputs, got input and inputs",
        ),
        (
            "{inputs: {man: {segments: [{hold: 1 s}]}}}",
            ":31:22: expected one of the device's inputs, got 'man'; did you mean 'main'?",
        ),
        (
            "{inputs: {main: {segments: [{hold: 1 s, wait_for: key}]}}}",
            ":31:13: expected no segment that waits where several inputs share a time base, got one; "
            "put 'wait_for' beside 'inputs', or make it several steps",
        ),
        (
            "{input: main, segments: [{ripple: sine, peak_to_peak: 1 V, frequency: 20 kHz, for: 20 s}]}",
            ":31:26: expected at most 1,000,000 changes of the set point in a shape, got 12,800,032; "
            "repeat less, or play a lower frequency or a shorter time",
        ),
    ],
)
def test_errors_stand_at_their_place(tmp_path, text, said):
    assert told(tmp_path, text) == [PROCEDURE + said]


def test_an_input_that_a_shape_switched_off_is_powered_up_first(tmp_path):
    lines = told(tmp_path, "{input: main, segments: [{hold: 1 s}], at_end: off}")
    assert any("expected an input that an earlier step powers up, got 'main'" in line for line in lines)


def test_several_inputs_share_a_time_base_each_with_voltage_and_limit(tmp_path):
    path = with_shape(
        tmp_path,
        "{inputs: {main: {segments: [{step_to: 10 V, current_limit: 500 mA}, {hold: 1 s}]}, transducer: "
        "{segments: [{hold: 200 ms}, {line_to: 20 V, over: 100 ms}]}}, repeat: 2, pause_between: 1 s, "
        "at_end: zero}",
    )
    documents = load_documents(path)
    timeline = build_timeline(documents.procedure, documents.device)
    span = timeline.spans[3]
    assert span.inputs == ("main", "transducer")
    assert span.end - span.start == pytest.approx(3.0)
    own = [each for each in timeline.actions if each.path[:2] == ("steps", 3)]
    found = [(round(each.time - span.start, 6), each.input, each.voltage, each.over) for each in own]
    assert found == [
        (0.0, "main", 10.0, 0.0),
        (0.2, "transducer", 20.0, 0.1),
        (2.0, "main", 10.0, 0.0),
        (2.2, "transducer", 20.0, 0.1),
        (3.0, "main", 0.0, 0.0),
        (3.0, "transducer", 0.0, 0.0),
    ]
    assert own[1].path == ("steps", 3, "shape", "inputs", "transducer", "segments", 1, "line_to")
    limits = [(round(each.time - span.start, 6), each.input, each.current) for each in timeline.limits]
    assert limits == [(0.0, "main", 0.5), (2.0, "main", 0.5), (3.0, "main", None)]
    documents.where("procedure", own[1].path)


def test_waits_are_kept_with_their_time_out_and_place(tmp_path):
    path = with_shape(
        tmp_path,
        "{input: main, segments: [{step_to: 9 V}, {hold: 1 s}], advance: on trigger, wait_for: key, "
        "time_out: 20 s}",
    )
    documents = load_documents(path)
    waits = build_timeline(documents.procedure, documents.device).waits
    assert [(each.source, each.time_out, each.path[3]) for each in waits] == [
        ("key", 20.0, "wait_for"),
        ("trigger", 20.0, "advance"),
        ("trigger", 20.0, "advance"),
    ]


OWN = """IEC 61000-4-29:
  edition: "2000"
  figures:
    dip levels: {value: [40 %, 70 %], clause: "table 1a, own copy", from_memory: no}
    repetitions: {value: 3, clause: "8.2", from_memory: no}
"""


def test_own_figures_replace_those_of_the_program(tmp_path):
    text = "{input: main, standard: IEC 61000-4-29 dip, level: 70 %, duration: 100 ms}"
    path = with_shape(tmp_path, text)
    edit(path, "hook_up:", "standards: figures.yaml\nhook_up:")
    (tmp_path / "figures.yaml").write_text(OWN)
    documents = load_documents(path)
    shape = documents.procedure.steps[3].shape
    found = pieces_of(documents.procedure, documents.device, shape, "main")
    assert found == (Jump(12.0), Jump(pytest.approx(8.4)), Hold(0.1), Jump(12.0))
    own = documents.procedure.own_figures["IEC 61000-4-29"]
    assert own.cited("dip levels") == "IEC 61000-4-29:2000, table 1a, own copy"
    assert own.cited("dip durations") == "IEC 61000-4-29:2000, table 1a, from memory"
    assert documents.sources["procedure"].beside == {"figures.yaml": OWN.encode()}
    edit(path, "level: 70 %", "level: 55 %")
    with pytest.raises(DocumentErrors, match="expected one of 40 %, 70 %, got '55 %'"):
        load_documents(path)


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("dip levels", "dip level", ":4:5: expected one of the figures of IEC 61000-4-29, got 'dip level'"),
        ("70 %", "70 V", ":4:25: expected a ratio such as '85 %', got '70 V': 'V' is a voltage"),
        ("value: 3", "value: three", ":5:26: expected a whole number, got 'three'"),
        ("IEC 61000-4-29:", "IEC 61000-4-28:", ":1:1: expected one of the standards, got 'IEC 61000-4-28'"),
    ],
)
def test_wrong_own_figures_are_told_at_their_place(tmp_path, old, new, said):
    path = with_shape(tmp_path, "{input: main, segments: [{hold: 1 s}]}")
    edit(path, "hook_up:", "standards: figures.yaml\nhook_up:")
    (tmp_path / "figures.yaml").write_text(OWN.replace(old, new))
    with pytest.raises(DocumentErrors) as error:
        load_documents(path)
    assert f"figures.yaml{said}" in str(error.value)


def rows(*values):
    return "time_s,main_voltage_V\n" + "".join(f"{time},{value}\n" for time, value in values)


def test_a_recording_is_played_in_few_lines_within_its_tolerance(tmp_path):
    """A sine of 1 V about 12 V, 5000 samples; then a jump, which stays one."""
    sampled = [(n / 5000, 12.0 + math.sin(2 * math.pi * n / 5000)) for n in range(5001)]
    text = rows(*sampled, (1.0, 9.0), (1.5, 9.0))
    path = with_shape(tmp_path, "{input: main, recording: rec.csv}")
    (tmp_path / "rec.csv").write_text(text)
    documents = load_documents(path)
    timeline = build_timeline(documents.procedure, documents.device)
    own = [each for each in timeline.actions if each.path[:2] == ("steps", 3)]
    assert 10 < len(own) < 80
    assert {each.path for each in own} == {("steps", 3, "shape", "recording")}
    wave = own_waveform(timeline)
    assert wave.duration == pytest.approx(1.5)
    time = np.array([each for each, _ in sampled[1:-1]])
    assert np.abs(wave.at(time) - np.array([each for _, each in sampled[1:-1]])).max() < 0.0025 * 4.0 * 1.01
    assert wave.at(np.array([1.001, 1.2])).tolist() == [9.0, 9.0]
    waveform = documents.procedure.steps[3].shape.waveforms["main"]
    assert waveform.recognised[-1].startswith("5003 samples as ")
    # A run keeps what was read, and refuses to begin with something else.
    write_together(copies_of(documents, tmp_path / "run" / "documents")[0], folders=True)
    assert (tmp_path / "run" / "documents" / "rec.csv").read_text() == text
    (tmp_path / "rec.csv").write_text(text + "2.0,9.0\n")
    with pytest.raises(RecordingError, match=r"rec\.csv:1:1: expected a recording that stays as it is"):
        write_together(copies_of(documents, tmp_path / "again" / "documents")[0], folders=True)
    assert not (tmp_path / "again").exists()


@pytest.mark.parametrize(
    ("text", "content", "said"),
    [
        (
            "{input: main, recording: none.csv}",
            None,
            f"{PROCEDURE}:31:37: expected a recording in '",
        ),
        (
            "{input: main, recording: .}",
            None,
            f"{PROCEDURE}:31:37: expected a recording in '",
        ),
        (
            "{input: main, recording: rec.csv, column: volts}",
            rows((0, 1), (1, 2)),
            "rec.csv:1:1: expected a column 'volts' among the columns time, main_voltage, got no such one",
        ),
        (
            "{input: main, recording: rec.csv, level: 3 %}",
            rows((0, 1), (1, 2)),
            f"{PROCEDURE}:31:53: expected 'level' beside 'standard' only, got it without; remove it",
        ),
        (
            "{input: main, segments: [{hold: 1 s}], begin: 1 s}",
            None,
            f"{PROCEDURE}:31:58: expected 'begin' beside 'recording' only, got it without; remove it",
        ),
        (
            "{input: main, recording: rec.csv, advance: on key}",
            rows((0, 1), (1, 2)),
            f"{PROCEDURE}:31:55: expected 'advance' beside 'segments' only, got it without; remove it",
        ),
    ],
)
def test_recordings_that_cannot_be_played_are_told_at_their_place(tmp_path, text, content, said):
    if content is not None:
        (tmp_path / "rec.csv").write_text(content)
    assert told(tmp_path, text)[0].startswith(said)


def test_a_part_of_a_recording_is_played(tmp_path):
    path = with_shape(tmp_path, "{input: main, recording: rec.csv, begin: 1 s, end: 2 s}")
    (tmp_path / "rec.csv").write_text(rows((0, 9), (1, 9), (3, 15)))
    documents = load_documents(path)
    wave = own_waveform(build_timeline(documents.procedure, documents.device))
    assert wave.duration == pytest.approx(1.0)
    assert wave.at(np.array([0.5])) == pytest.approx([10.5])
