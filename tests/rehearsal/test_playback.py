"""What outputs make of shapes, by rehearsal: limits of a shape hold, edges follow the bench's rise."""

import numpy as np
import pytest
from tests.bench import BENCH, PROCEDURE, demo_with

from railwright.documents.output_name import OutputName
from railwright.documents.standard_tests import pieces_of
from railwright.plan.set_points import Feed, OutputSetPoints
from railwright.plan.timeline import Action, build_timeline
from railwright.rehearsal.generator import edges_into_load
from railwright.rehearsal.playback import asked_edges, playback, slowest_rises
from railwright.rehearsal.rehearse import rehearse
from railwright.traces import Mode
from railwright.waveforms.shapes import duration_of

MAIN = Feed(
    "main",
    "alone",
    (OutputSetPoints(OutputName("left.1"), 1.0, "regulate", 0.0, 18.0),),
    "silicone pair",
    "at load",
)
DIP = (
    "input: main, standard: IEC 61000-4-29 dip, level: 70 %, duration: 100 ms, repeat: 2, pause_between: 1 s"
)


def own_shape(text):
    return "  - shape:\n", f"  - shape: {{{text}}}\n    name: own\n  - hold: 1 s\n  - shape:\n"


def played(folder, text, *edits):
    """Documents with one shape after the line sweep and a hold after it; its timeline and rehearsal."""
    documents = demo_with(folder, (PROCEDURE, *own_shape(text)), *edits)
    timeline = build_timeline(documents.procedure, documents.device)
    rehearsal = rehearse(documents, {"main": MAIN}, timeline=timeline)
    return documents, timeline, rehearsal, playback(timeline, rehearsal.record)[0]


def test_a_dips_edges_are_told_one_by_one(tmp_path):
    *_, found = played(tmp_path, DIP)
    assert (found.span.name, found.input, found.left_out) == ("own", "main", 0)
    # From 16 V of the sweep's end to 12 V, where the dip begins, 1 s later.
    assert [tuple(round(v, 6) for v in (e.asked.time, e.asked.start, e.asked.goal)) for e in found.edges] == [
        (0.0, 16.0, 12.0),
        (1.0, 12.0, 8.4),
        (1.1, 8.4, 12.0),
        (2.1, 12.0, 8.4),
        (2.2, 8.4, 12.0),
    ]
    assert all(1e-3 < e.duration < 30e-3 for e in found.edges)
    assert found.edges[-1].asked.until == pytest.approx(4.2)  # the hold behind the step still shows it
    assert abs(found.edges[-1].error) < 1e-3
    waveform = found.asked
    assert waveform.duration == pytest.approx(3.2)  # as long as pause_between after the last edge
    assert waveform.at(np.array([0.05, 1.05, 1.5, 2.15])) == pytest.approx([12.0, 8.4, 12.0, 8.4])


@pytest.mark.parametrize(
    ("text", "length"),
    [
        ("input: main, standard: IEC 61000-4-29 dip, level: 70 %, duration: 100 ms", 2.1),
        (f"{DIP}, at_end: zero", 3.2),
        ("input: main, standard: ISO 16750-2 reset", None),  # ends with its own recovery time
        ("input: main, segments: [{step_to: 9 V}, {hold: 100 ms}, {step_to: 12 V}]", 0.1),
        (
            "inputs: {main: {standard: IEC 61000-4-29 dip, level: 70 %, duration: 100 ms}, "
            "transducer: {segments: [{hold: 300 ms}]}}",
            2.1,
        ),
    ],
)
def test_a_standards_test_is_watched_after_its_last_edge(bench, text, length):
    documents = bench((PROCEDURE, *own_shape(text)))
    timeline = build_timeline(documents.procedure, documents.device)
    span = timeline.spans[3]
    own = [each for each in timeline.actions if each.path[:2] == ("steps", 3)]
    if length is None:
        pieces = pieces_of(documents.procedure, documents.device, documents.procedure.steps[3].shape, "main")
        length = duration_of(pieces)
        assert length > own[-1].time - span.start
    assert span.end - span.start == pytest.approx(length)
    if "at_end" in text:
        assert own[-1].time == pytest.approx(span.end)


def test_the_edges_into_the_verification_load_follow_the_rise_of_the_bench(tmp_path):
    """A step of 3.6 V at the output's slew: 0.8 · 3.6 V over 28.8 V in the rise time, a little more by the
    loop's own settling.
    """
    durations = {}
    for rise in ("12 ms", "6 ms", "24 ms"):
        folder = tmp_path / rise.split()[0]
        folder.mkdir()
        edits = (BENCH, "rise: 12 ms ", f"rise: {rise} "), (BENCH, ".. 2.4 V/ms  ", ".. 24 V/ms  ")
        documents, _, _, _ = played(folder, DIP, *edits)
        shape = documents.procedure.steps[3].shape
        pieces = pieces_of(documents.procedure, documents.device, shape, "main")
        down, up = edges_into_load(documents, MAIN, pieces, 12.0, 100.0)
        assert down.asked.goal == pytest.approx(8.4)
        durations[rise] = up.duration
        slew = 28.8 / float(rise.split()[0]) * 1e3
        assert up.duration == pytest.approx(0.8 * 3.6 / slew, rel=0.25)
    assert durations["6 ms"] < durations["12 ms"] < durations["24 ms"]


def test_a_high_impedance_interruption_is_not_judged_while_it_is_off(tmp_path):
    text = "input: main, standard: IEC 61000-4-29 interruption, impedance: high, duration: 30 ms"
    _, _, rehearsal, found = played(tmp_path, text)
    assert found.away == ((1.0, pytest.approx(1.03)),)
    events = [
        (e.what, round(e.time - found.span.start, 6))
        for e in rehearsal.record.events
        if e.what in ("on", "off")
    ]
    assert ("off", 1.0) in events
    assert ("on", 1.03) in events
    assert not 1.0 < found.whole.at < 1.03  # not while it is off
    _, up = found.edges
    assert up.asked.goal == 12.0


def test_the_current_limit_of_a_shape_holds_for_it_and_no_longer(tmp_path):
    text = (
        "input: main, segments: [{step_to: 12 V}, {hold: 200 ms}, {step_to: 14 V, current_limit: 500 mA}, "
        "{hold: 200 ms}]"
    )
    _, timeline, rehearsal, found = played(tmp_path, text)
    assert [(each.current, each.input) for each in timeline.limits] == [(0.5, "main"), (None, "main")]
    traces = rehearsal.record.traces["main"]
    inside = traces.closed(found.span.start + 0.203, found.span.start + 0.3)
    assert Mode.CC in inside.columns["mode"]
    # The limit feeds the output's own 220 µF as well, so that less than 0.5 A reach the input.
    assert 0.4 < inside.columns["current"].max() < 0.5
    slow = found.edges[-1]
    # 1.22 mF by 2 V at what the limit leaves beside the converter's 0.3 A: about 12 ms.
    assert slow.duration > 6e-3


def test_ripple_has_no_edges_but_a_deviation(tmp_path):
    sine = "{ripple: sine, peak_to_peak: 1 V, frequency: 10 Hz, for: 500 ms}"
    text = f"input: main, segments: [{{step_to: 12 V}}, {{hold: 1 s}}, {sine}]"
    _, _, _, found = played(tmp_path, text)
    assert [each.asked.goal for each in found.edges] == [12.0]
    assert 0.0 < found.whole.rms < 1.0


def test_a_line_that_the_outputs_follow_is_no_edge_where_their_rise_is_known(tmp_path):
    text = (
        "input: main, segments: [{step_to: 12 V}, {hold: 100 ms}, {line_to: 9 V, over: 119 ms}, "
        "{hold: 100 ms}, {line_to: 12 V, over: 121 ms}, {hold: 100 ms}]"
    )
    documents, timeline, rehearsal, found = played(tmp_path, text)
    goals = [each.asked.goal for each in found.edges]
    assert goals == [12.0, 9.0, 12.0]  # a standard judges them all
    rises = slowest_rises(documents.bench, {"main": MAIN})
    assert rises == {"main": 12e-3}
    (first, *_) = playback(timeline, rehearsal.record, rises)
    assert [each.asked.goal for each in first.edges] == [12.0, 9.0]
    (first, *_) = playback(timeline, rehearsal.record, {})
    assert [each.asked.goal for each in first.edges] == [12.0]


def test_a_sine_alone_has_no_edges(tmp_path):
    text = "input: main, segments: [{ripple: sine, peak_to_peak: 1 V, frequency: 10 Hz, for: 500 ms}]"
    _, _, _, found = played(tmp_path, text)
    assert found.edges == ()


RECORDING = ("steps", 1, "shape", "recording")


def goals(actions, level, step=0.0):
    return [each.goal for each in asked_edges(actions, level, 1.0, step)]


def jumps(*points, path=()):
    return [Action(time, "line", "main", voltage, path=path) for time, voltage in points]


def test_a_jump_that_fitting_a_recording_leaves_is_no_edge_and_ends_no_stay():
    """0.25 % of the recording's span of 1 V, wherever the output was left."""
    actions = jumps((0.0, 4.99974), (0.2, 4.0), (0.5, 4.0012), (0.7, 5.0), path=RECORDING)
    first, second = asked_edges(actions, 5.0, 1.0)
    assert (first.time, first.start, first.goal, first.until) == (0.2, 4.99974, 4.0, 0.7)
    assert (second.time, second.start, second.goal) == (0.7, 4.0012, 5.0)
    assert goals(actions, 24.0) == [4.99974, 4.0, 5.0]


def test_what_is_smaller_than_a_step_of_the_output_is_no_edge():
    actions = jumps((0.0, 12.0), (0.2, 12.0009), (0.4, 12.0019), (0.6, 12.0))
    assert goals(actions, 12.000001) == [12.0, 12.0009, 12.0019, 12.0]
    assert goals(actions, 12.000001, 1e-3) == [12.0019, 12.0]
    assert goals(jumps((0.0, 5.005), (0.5, 5.01)), 5.0, 5e-3) == [5.005, 5.01]  # a step, but for its rounding
    assert goals(jumps((0.0, 5.003)), 5.0, 5e-3) == []


def test_an_interruption_that_the_device_outlasts_does_not_get_there_and_is_told_in_full(tmp_path):
    """The output does not sink: 1.2 mF and a converter that has stopped keep their voltage."""
    text = "input: main, standard: IEC 61000-4-29 interruption, impedance: low, duration: 100 ms"
    _, _, rehearsal, found = played(tmp_path, text)
    _, down, up = found.edges
    traces = rehearsal.record.traces["main"]
    stands = np.interp(found.span.start + np.array([1.0, 1.1, 1.6]), traces.time, traces.columns["voltage"])
    assert (down.before, down.after) == pytest.approx(stands[:2], abs=1e-6)
    assert up.before == pytest.approx(down.after, abs=1e-6)
    assert not down.reached
    assert (down.duration, down.late, down.overshoot) == (None, None, None)
    assert down.error == pytest.approx(stands[1], abs=1e-6)
    assert stands[1] > 2.0
    assert (up.reached, up.settled) == (True, True)
    assert up.after == pytest.approx(stands[2], abs=1e-3)


def test_what_takes_no_time_is_no_state_and_no_edge():
    there_and_back = jumps((0.0, 9.0), (0.0, 12.0), (0.5, 9.0), (0.5, 6.0))
    assert [(each.start, each.goal) for each in asked_edges(there_and_back, 12.0, 1.0)] == [(12.0, 6.0)]
    then_a_line = [*jumps((0.0, 9.0)), Action(0.0, "line", "main", 11.0, 0.1)]
    assert [(each.start, each.goal) for each in asked_edges(then_a_line, 12.0, 1.0)] == [(9.0, 11.0)]
