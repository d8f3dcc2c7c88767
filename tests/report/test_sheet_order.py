"""What is to be done: what a hand cannot time is one step, and every fault leads to all off."""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from tests.bench import BENCH, DEVICE, PROCEDURE, demo_with
from tests.relays.station import documents as through_a_relay
from tests.report.hook_ups import PARALLEL, SERIES, changed
from tests.said import says

from railwright.dialects.dialect import load_dialect
from railwright.documents.loader import Documents, load_documents
from railwright.plan.coming_up import coming_up
from railwright.plan.off_order import off_order
from railwright.report.sheet_order import Task, in_order
from railwright.settings.context import sources_of
from railwright.settings.settle import settle

TODAY = dt.date(2026, 11, 25)
QUICK = "gap: 50 ms, rise: 2 V/ms"


def tasks(documents: Documents) -> list[Task]:
    settings = settle(documents, TODAY)
    sources, timeline = sources_of(documents)
    return in_order(documents, settings.set_points, sources, timeline, coming_up(timeline))


def words(documents: Documents) -> list[str]:
    return [task.words for task in tasks(documents)]


def line(documents: Documents, begins: str) -> str:
    (found,) = [each for each in words(documents) if each.startswith(begins)]
    return found


def test_gaps_too_short_for_a_hand_are_one_timed_step_and_verified_after_it(documents: Documents) -> None:
    done = tasks(documents)
    (place,) = [n for n, task in enumerate(done) if task.parts]
    assert done[place].words == (
        "Switching on, 50 ms from one to the next, by the program or the supply: too quick by hand."
    )
    assert done[place].parts == (
        "left.1: switch on with its voltage at minimum, then raise it to 12 V at the rise in the table.",
        "right.1: switch on with its voltage at minimum, then raise it to 24 V at the rise in the table.",
    )
    assert [task.words.split(":")[0] for task in done[place + 1 : place + 3]] == [
        "Verify main",
        "Verify transducer",
    ]
    assert done[place + 3].words == "All off in this order (20 ms apart): right.1, then left.1."


def test_no_gap_at_all_is_at_the_same_time(tmp_path: Path) -> None:
    said = words(changed(tmp_path, {QUICK: "gap: 0 s, rise: 2 V/ms"}))
    assert "Switching on at the same time, by the program or the supply: too quick by hand." in said


def test_where_a_hand_can_keep_the_gap_each_is_verified_before_the_next(tmp_path: Path) -> None:
    done = tasks(changed(tmp_path, {QUICK: "gap: 2 s"}))
    assert not any(task.parts for task in done)
    assert [task.words.split(":")[0] for task in done[3:7]] == [
        "left.1", "Verify main", "2 s after left.1 came on, right.1", "Verify transducer",
    ]  # fmt: skip
    assert done[3].words.endswith("then raise it to 12 V at its own rise.")


@pytest.mark.parametrize("changes", [{}, {QUICK: "gap: 2 s"}, SERIES, PARALLEL])
def test_whatever_is_wrong_all_goes_off_and_the_step_named_says_in_which_order(
    changes: dict[str, str], tmp_path: Path
) -> None:
    documents = changed(tmp_path, changes)
    said = words(documents)
    (place,) = [n for n, each in enumerate(said, start=1) if each.startswith("All off")]
    ends = [each for each in said if each.startswith(("Verify", "From here on"))]
    assert len(ends) == 3
    assert all(each.endswith(f"all outputs off, in the order of step {place}.") for each in ends)
    hook_up = documents.procedure.hook_up
    first = off_order(documents.procedure, documents.device, tuple(hook_up))[0]
    assert f": {' and '.join(hook_up[first].outputs)}" in said[place - 1]


def test_what_to_do_at_a_trip_is_said_before_anything_is_on(documents: Documents) -> None:
    said = words(documents)
    trips = next(n for n, each in enumerate(said) if "linked trip" in each)
    assert said[trips].startswith(
        "From here on: should main trip, switch transducer off at once (linked trip), then what is still on. "
        "Should anything else trip: all outputs off"
    )
    assert trips < next(n for n, each in enumerate(said) if each.startswith("Switching on"))


def test_a_procedure_without_linked_trips_still_says_what_to_do(documents: Documents) -> None:
    procedure = documents.procedure
    limits = {name: each.model_copy(update={"trips_when": ()}) for name, each in procedure.limits.items()}
    unlinked = replace(documents, procedure=procedure.model_copy(update={"limits": limits}))
    assert line(unlinked, "From").startswith("From here on: should any output trip: all outputs off")


def test_what_is_lost_to_the_connector_and_the_current_are_sentences_of_their_own(
    documents: Documents,
) -> None:
    # Set to 14 mV, read to 12 mV, a count of 1 mV and four times the noise of 1 mV; 0.303 A to 0.398 A.
    assert line(documents, "Verify main").startswith(
        "Verify main: 12 V ± 31 mV at the connector. Current 0.299 A to 0.402 A. Constant voltage, no trip. "
        "If not: all outputs off"
    )
    # Set to 20 mV, read to 18 mV and 5 mV; 19 mA to 21 mA, read to 0.42 mA.
    assert line(documents, "Verify transducer").startswith(
        "Verify transducer: 24 V ± 43 mV at the terminals. At the connector up to 3.7 mV less. Current "
        "18.6 mA to 21.4 mA."
    )


def test_a_good_set_up_reads_within_what_is_to_be_verified(documents: Documents) -> None:
    """Drawn errors of the bench document: what is off by no more than its bounds leads to no 'all off'; and
    the band is no wider than they are.
    """
    draw = np.random.default_rng(20261130)

    def off(of_value: float, offset: float, value: np.ndarray) -> np.ndarray:
        return value * of_value * draw.uniform(-1, 1, value.size) + offset * draw.uniform(-1, 1, value.size)

    said = line(documents, "Verify transducer")
    (volts, amperes) = (
        re.search(r"V ± ([\d.]+) mV", said), re.search(r"Current ([\d.]+) mA to ([\d.]+) mA", said)
    )  # fmt: skip
    assert volts
    assert amperes
    level = np.full(200_000, 24.0)
    level += off(0.05e-2, 8e-3, level)
    read = level + off(0.05e-2, 6e-3, level) + draw.normal(0.0, 1e-3, level.size)
    assert np.mean(np.abs(read - 24.0) > float(volts[1]) / 1e3) < 1e-4
    assert np.max(np.abs(read - 24.0)) > 0.8 * float(volts[1]) / 1e3
    drawn = draw.uniform(19e-3, 21e-3, level.size)
    told = drawn + off(0.1e-2, 0.3e-3, drawn) + draw.normal(0.0, 0.02e-3, level.size)
    low, high = (float(each) / 1e3 for each in amperes.groups())
    assert np.mean((told < low) | (told > high)) < 1e-4
    assert np.max(told) - np.min(told) > 0.9 * (high - low)


@pytest.mark.parametrize(("metres", "watts"), [(5, 3.6), (20, 3.6), (20, 9.0)])
def test_a_converter_behind_a_lead_that_is_not_sensed_draws_more_by_what_that_drops(
    tmp_path: Path, metres: int, watts: float
) -> None:
    """I·(V - I·R) = P/efficiency, with V as set with its error; R of 0.5 mm² class 5 (39 mohm/m at 20 °C)."""
    edits = (
        (PROCEDURE, "silicone pair, sense: at load", "silicone pair, sense: at terminals"),
        (DEVICE, "output_power: 3.6 W", f"output_power: {watts:g} W"),
        (BENCH, "AWG 18, one_way_length: 1.5 m", f"0.5 mm2 class 5, one_way_length: {metres} m"),
    )
    said = line(demo_with(tmp_path, *edits), "Verify main")
    told = re.search(r"up to ([\d.]+) (m?V) less\. Current ([\d.]+) A to ([\d.]+) A", said)
    assert told
    loop, power, volts = 2 * metres * 39.0e-3, 1.1 * watts / 0.83, 12.0 - 14e-3
    drawn = (volts - np.sqrt(volts**2 - 4 * loop * power)) / (2 * loop)
    least = 0.9 * watts / 0.89 / (12.0 + 14e-3)
    read = 5e-3 + 2e-3 * drawn
    assert drawn < float(told[4]) < 1.03 * drawn + read
    assert 0.98 * least - read < float(told[3]) < least * 1.15
    drop = float(told[1]) * (1e-3 if told[2] == "mV" else 1.0)
    assert loop * drawn <= drop < 1.12 * loop * drawn + 0.1


def test_outputs_in_series_show_the_same_current_and_go_together(tmp_path: Path) -> None:
    documents = changed(tmp_path, SERIES)
    assert "left.1 and left.2 in series. The same current in both: 15.1 mA to 24.9 mA." in line(
        documents, "Verify transducer"
    )
    assert "left.1 and left.2 together, then right.1." in line(documents, "All off")
    (parts,) = [task.parts for task in tasks(documents) if task.parts]
    assert parts[1] == (
        "left.1 and left.2 together: switch on with their voltages at minimum, then raise both together to "
        "12 V each (24 V in all) at the rise in the table."
    )


def test_currents_of_outputs_in_parallel_add_up_and_one_may_be_at_its_limit(tmp_path: Path) -> None:
    """Two set points are never the same, and the higher output gives up to its limit: as docs/hook-up.md has
    it, and as the rehearsal plays it (docs/verification.md, parallel sharing)."""
    regulated = {
        **PARALLEL,
        "current_limit: 1 A": "current_limit: 0.6 A",
        "at_limit: trip                       # or: regulate (IVI-4.4)": "at_limit: regulate",
        "    trip_delay: 40 ms\n": "",
    }
    (tmp_path / "r").mkdir()
    said = line(changed(tmp_path / "r", regulated), "Verify main")
    assert "The currents of both add up to 0.295 A to 0.406 A." in said
    assert "One of them may show constant current; the other then regulates the voltage. No trip." in said
    assert "Constant voltage" not in said
    (tmp_path / "l").mkdir()
    trips = {**PARALLEL, "current_limit: 1 A": "current_limit: 0.6 A"}
    assert "One of them may reach its limit, and then trips." in line(
        changed(tmp_path / "l", trips), "Verify main"
    )
    (tmp_path / "h").mkdir()
    assert "One of them may carry nearly all of it; constant voltage. No trip." in line(
        changed(tmp_path / "h", PARALLEL), "Verify main"
    )


TRANSDUCER_LIMITS = (
    "    trips_when: [main]                   # linked trip: this one goes off when main does\n"
)


def test_what_goes_off_after_another_says_so_and_stands_behind_it(tmp_path: Path) -> None:
    changes = {
        TRANSDUCER_LIMITS: f"{TRANSDUCER_LIMITS}    off_after: [main]\n    at_end: {{ramp_down: 2 s}}\n",
        "  - power_down: {order: [transducer, main], gap: 20 ms}\n": "",
    }
    assert line(changed(tmp_path, changes), "All off") == (
        "All off in this order: left.1, then right.1 (once left.1 reads off, below 1 V; lowered to 0 V in 2 s"
        " first)."
    )


def test_what_stays_on_is_not_said_to_go_off(tmp_path: Path) -> None:
    at_end = "    at_end: {stays_on: it warms the tube}\n"
    said = words(changed(tmp_path, {TRANSDUCER_LIMITS: TRANSDUCER_LIMITS + at_end}))
    assert said[-3:] == [
        "Off: left.1.",
        "right.1: stays on, because: it warms the tube.",
        "Before anything is touched or unplugged: every output, also one that stayed on, below 1 V, by its "
        "reading.",
    ]
    assert not any(each.startswith("All off in") for each in said)


@pytest.mark.parametrize("dialect", ["prefixed", "numbered-header"])
def test_a_master_switch_goes_on_before_the_first_output_and_off_after_the_last(
    documents: Documents, dialect: str
) -> None:
    bench = documents.bench
    left = bench.supplies["left"].model_copy(update={"dialect": load_dialect(dialect)})
    given = replace(documents, bench=bench.model_copy(update={"supplies": {**bench.supplies, "left": left}}))
    done = words(given)
    on, off = [n for n, each in enumerate(done) if "master" in each.lower()]
    assert says(done[on], "left", "off", "2")
    assert says(done[off], "left")
    (timed,) = [n for n, each in enumerate(done) if each.startswith("Switching on")]
    (all_off,) = [n for n, each in enumerate(done) if each.startswith("All off")]
    assert on < timed < all_off < off
    assert f"step {all_off + 1}" in next(each for each in done if each.startswith("From here on"))
    assert not any("master" in each.lower() for each in words(documents))


@pytest.mark.parametrize(
    ("does", "words"), [("comes on", "comes on"), (None, "may come on"), ("stays off", "")]
)
def test_a_supply_that_comes_on_by_itself_has_its_mains_switched_off_first(
    documents: Documents, does: str | None, words: str
) -> None:
    bench = documents.bench
    right = bench.supplies["right"].model_copy(update={"after_mains": does})
    given = replace(
        documents, bench=bench.model_copy(update={"supplies": {**bench.supplies, "right": right}})
    )
    found = [each for each in tasks(given) if each.words.startswith("Should the mains fail")]
    assert len(found) == bool(words)
    assert all(says(each.words, "right", words) for each in found)


TWO = "  - power_up: {order: [main, transducer], gap: 50 ms, rise: 2 V/ms, settle: 150 ms}\n"


def in_two(first: str, between: str, then: str, folder: Path) -> list[Task]:
    """The example's power-up as two steps, at 2 V/ms and 1 V/ms, with something between them."""
    ups = [f"  - power_up: {{order: [{name}], rise: {rise}, settle: 150 ms}}\n"
           for name, rise in ((first, "2 V/ms"), (then, "1 V/ms"))]  # fmt: skip
    return tasks(changed(folder, {TWO: ups[0] + between + ups[1]}))


@pytest.mark.parametrize(
    ("order", "outputs", "volts", "apart"),
    [
        # The first is up after its voltage / 2 V/ms, and 150 ms of settling.
        (("main", "transducer"), ("left.1", "right.1"), ("12 V", "24 V"), "156 ms"),
        (("transducer", "main"), ("right.1", "left.1"), ("24 V", "12 V"), "162 ms"),
    ],
)
def test_what_a_later_power_up_switches_on_is_switched_on_and_verified_too(
    order: tuple[str, str], outputs: tuple[str, str], volts: tuple[str, str], apart: str, tmp_path: Path
) -> None:
    done = in_two(order[0], "", order[1], tmp_path)
    (timed,) = [task for task in done if task.words.startswith("Switching on")]
    assert says(timed.words, apart)
    for part, output, voltage in zip(timed.parts, outputs, volts, strict=True):
        assert part.startswith(f"{output}: ")
        assert says(part, voltage)
    place = done.index(timed)
    assert [task.words.split(":")[0] for task in done[place + 1 : place + 3]] == [
        f"Verify {name}" for name in order
    ]
    (all_off,) = [n for n, task in enumerate(done, start=1) if task.words.startswith("All off")]
    assert all(
        task.words.endswith(f"all outputs off, in the order of step {all_off}.")
        for task in done
        if task.words.startswith(("Verify", "From here on"))
    )


def test_power_ups_that_a_hand_can_keep_apart_are_verified_one_by_one(tmp_path: Path) -> None:
    done = in_two("main", "  - hold: 5 s\n", "transducer", tmp_path)
    assert [task.words.split(":")[0] for task in done[3:7]] == [
        "left.1", "Verify main", "5.156 s after left.1 came on, right.1", "Verify transducer",
    ]  # fmt: skip


THREE = (
    (PROCEDURE, "  transducer: {from: right.1, lead: thin pair, sense: at terminals}",
     "  transducer: {from: right.1, lead: thin pair, sense: at terminals}\n"
     "  spare: {from: left.2, lead: thin pair, sense: at terminals}"),
    (PROCEDURE, "  transducer:\n    current_limit",
     "  spare: {current_limit: 100 mA, at_limit: regulate, ovp: 16 V}\n  transducer:\n    current_limit"),
    (DEVICE, "  transducer:\n",
     "  spare:\n    nominal: 5 V\n    operating: 4 V .. 6 V\n    withstands: [{voltage: 18 V}]\n"
     "    current: {steady: 10 mA .. 20 mA, at_most: 1 A}\n    return: isolated\n"
     "    load: [{resistor: {resistance: 330 ohm ± 5 %}}]\n  transducer:\n"),
    (PROCEDURE, TWO,
     "  - power_up: {order: [main], rise: 2 V/ms, settle: 150 ms}\n"
     "  - power_up: {order: [spare, transducer], gap: 20 ms, settle: 150 ms}\n"),
)  # fmt: skip


def test_three_inputs_with_uneven_gaps_are_timed_one_by_one(tmp_path: Path) -> None:
    """main, 156 ms later spare, 20 ms later transducer."""
    (timed,) = [task for task in tasks(demo_with(tmp_path, *THREE)) if task.parts]
    assert [part.split(":")[0] for part in timed.parts] == [
        "left.1",
        "156 ms after left.1 came on, left.2",
        "20 ms after left.2 came on, right.1",
    ]


@pytest.mark.parametrize(
    ("changes", "together", "shares"),
    [({}, "right.1", ("1 V", "10 V")), (SERIES, "left.1 and left.2", ("0.5 V each", "5 V each"))],
)
def test_an_input_that_comes_up_by_stages_is_told_each_and_what_to_verify_there(
    changes: dict[str, str], together: str, shares: tuple[str, str], tmp_path: Path
) -> None:
    """As a first power-up is written: on at 0 V, then by shapes. The transducer draws 20 mA ± 5 % from 9 V,
    and at 1 V a ninth of it; the declared 4 mA to 25 mA say nothing of that.
    """
    stages = (
        "  - power_up: {order: [main, transducer], gap: 110 ms, voltages: {main: 0 V, transducer: 0 V}}\n"
        "  - shape: {input: transducer, segments: [{line_to: 1 V, over: 130 ms}]}\n  - hold: 260 ms\n"
        "  - shape: {input: transducer, segments: [{line_to: 10 V, over: 2 s}]}\n  - hold: 3 s\n"
        "  - shape: {input: transducer, segments: [{line_to: 24 V, over: 130 ms}, {hold: 1 s}, "
        "{step_to: 0 V}]}\n"
    )
    done = tasks(changed(tmp_path, {**changes, TWO: stages}))
    (timed,) = [task for task in done if task.words.startswith("Switching on")]
    assert not any("raise" in part for part in timed.parts)
    assert not any(task.words.startswith("Verify") for task in done)
    (task,) = [each for each in done if each.words.startswith("transducer:")]
    assert says(task.words, together, "quick")
    assert [part.split(", there for")[0] for part in task.parts] == [
        f"To {shares[0]}{' (1 V in all)' if changes else ''} in 130 ms",
        f"To {shares[1]}{' (10 V in all)' if changes else ''} in 2 s",
        f"To {'12 V each (24 V in all)' if changes else '24 V'} in 130 ms",
    ]
    # 2.11 mA to 2.33 mA and 19 mA to 21 mA, read to 0.4 mA, or in series by other outputs to 3.9 mA.
    amperes = (
        (("0 A", "6.27 mA"), ("15.1 mA", "24.9 mA")) if changes else (("1.69 mA", "2.75 mA"), ("18.6 mA",))
    )
    for part, ends in zip(task.parts, amperes, strict=False):
        assert says(part, *ends)
    assert [re.findall(r"there for ([\d.]+ \w+)", part) for part in task.parts] == [
        ["260 ms"],
        ["3 s"],
        ["1 s"],
    ]


def test_an_input_that_stays_at_0_v_is_not_told_a_current(tmp_path: Path) -> None:
    zero = "  - power_up: {order: [main, transducer], gap: 110 ms, voltages: {main: 0 V, transducer: 0 V}}\n"
    documents = changed(tmp_path, {TWO: zero})
    said = words(documents)
    assert not [each for each in said if each.startswith(("Verify", "transducer:"))]
    # Of main the line sweep is what leads it up, 8 points from 9 V on.
    (task,) = [each for each in tasks(documents) if each.words.startswith("main:")]
    assert [part.split(":")[0] for part in task.parts][-3:] == [
        "To 13 V at once, there for 500 ms",
        "2 more stages.",
        "To 16 V at once, there for 500 ms",
    ]


def test_a_jump_at_the_end_of_a_line_is_a_stage_of_its_own(tmp_path: Path) -> None:
    """5 V are passed through: nobody can verify them."""
    stages = (
        "  - power_up: {order: [main, transducer], gap: 110 ms, voltages: {transducer: 0 V}}\n"
        "  - shape: {input: transducer, segments: [{line_to: 5 V, over: 3 s}, "
        "{step_to: 12 V}, {hold: 5 s}]}\n"
    )
    (task,) = [
        each for each in tasks(changed(tmp_path, {TWO: stages})) if each.words.startswith("transducer:")
    ]
    passed, reached = task.parts
    assert says(passed, "5 V", "3 s")
    assert not says(passed, "5 V ±")
    assert says(reached, "12 V at once", "12 V ±")


def test_what_went_off_at_0_v_is_raised_where_it_is_switched_on(tmp_path: Path) -> None:
    again = (
        "  - power_up: {order: [main, transducer], gap: 110 ms, voltages: {transducer: 0 V}}\n"
        "  - hold: 3 s\n  - power_down: {order: [transducer]}\n  - hold: 3 s\n"
        "  - power_up: {order: [transducer]}\n"
    )
    said = words(changed(tmp_path, {TWO: again}))
    (on,) = [each for each in said if "right.1: switch on" in each]
    assert says(on, "6.11 s after left.1", "raise it to 24 V")
    assert "leave it there" not in on


LATE = """  - power_up: {order: [main, transducer], gap: 5 s, rise: 2 V/ms, settle: 150 ms}
  - hold: 1 s
%s  - relays: {close: [gate], settle: 50 ms}
  - hold: 1 s
    name: steady
  - power_down: {order: [transducer, main], gap: 20 ms}
"""


@pytest.mark.parametrize("between", ["", "  - hold: 3 s\n", "  - relays: {open: [gate], settle: 50 ms}\n"])
def test_a_lead_that_is_closed_once_its_input_is_up_is_closed_and_verified_then(
    between: str, tmp_path: Path
) -> None:
    """The sheet verified the current of a load behind an open contact, and never had it closed."""
    done = words(load_documents(through_a_relay(tmp_path, steps=LATE % between)))
    verified = [n for n, each in enumerate(done) if each.startswith("Verify main")]
    (moved,) = [n for n, each in enumerate(done) if each.startswith("Relays, while outputs are on")]
    assert verified[0] < moved == verified[1] - 1
    assert says(done[verified[0]], "no current")
    assert re.search(r"Current [\d.]+ A to [\d.]+ A", done[verified[1]])
    assert "no current" not in done[verified[1]]
    off = int(re.search(r"step (\d+)", done[verified[1]])[1])  # type: ignore[index]
    assert done[off - 1].startswith("All off")


def test_the_last_stage_of_a_rise_is_verified_also_where_the_procedure_does_not_hold_it(
    tmp_path: Path,
) -> None:
    stages = (
        "  - power_up: {order: [main, transducer], gap: 110 ms, voltages: {main: 0 V, transducer: 0 V}}\n"
        "  - shape: {input: transducer, segments: [{line_to: 24 V, over: 5 s}, {step_to: 0 V}]}\n"
    )
    (task,) = [
        each for each in tasks(changed(tmp_path, {TWO: stages})) if each.words.startswith("transducer:")
    ]
    assert says(task.parts[-1], "24 V", "18.6 mA")
    assert "on without a stop" not in task.parts[-1]
