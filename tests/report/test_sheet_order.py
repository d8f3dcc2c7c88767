"""What is to be done: what a hand cannot time is one step, and every fault leads to all off."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from pathlib import Path

import pytest
from tests.report.hook_ups import PARALLEL, SERIES, changed
from tests.said import says

from railwright.dialects.dialect import load_dialect
from railwright.documents.loader import Documents
from railwright.plan.off_order import off_order
from railwright.report.sheet_order import Task, in_order
from railwright.settings.context import sources_of
from railwright.settings.settle import settle

TODAY = dt.date(2026, 11, 25)
QUICK = "gap: 50 ms, rise: 2 V/ms"


def tasks(documents: Documents) -> list[Task]:
    settings = settle(documents, TODAY)
    sources, _ = sources_of(documents)
    return in_order(documents, settings.set_points, sources, documents.procedure.steps[0].power_up)


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
    assert line(documents, "Verify main").startswith(
        "Verify main: 12 V ± 14 mV at the connector. Current 0.303 A to 0.398 A. Constant voltage, no trip. "
        "If not: all outputs off"
    )
    assert line(documents, "Verify transducer").startswith(
        "Verify transducer: 24 V ± 20 mV at the terminals. At the connector up to 3.6 mV less. Current 19 mA "
        "to 21 mA."
    )


def test_outputs_in_series_show_the_same_current_and_go_together(tmp_path: Path) -> None:
    documents = changed(tmp_path, SERIES)
    assert "left.1 and left.2 in series. The same current in both: 19 mA to 21 mA." in line(
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
    assert "The currents of both add up to 0.303 A to 0.398 A." in said
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
