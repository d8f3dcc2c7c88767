"""What report, sheet and drawing say of contacts."""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.relays.station import RELAYS, STEPS, documents
from tests.said import says

from railwright.documents.loader import load_documents
from railwright.job import Job
from railwright.plan.coming_up import coming_up
from railwright.report.contact_words import contact_words, contacts_first, contacts_last
from railwright.report.sheet_order import in_order
from railwright.report.sheet_wires import wires
from railwright.report.wiring import wiring_of
from railwright.settings.context import sources_of


def test_the_report_says_where_a_contact_lies_and_which_steps_move_it(tmp_path: Path) -> None:
    (told,) = contact_words(load_documents(documents(tmp_path / "s")))
    assert says(told, "gate", "switchbox", "101", "main", "open", "closed", "connect", "opened", "disconnect")


@pytest.mark.parametrize(
    ("starts", "steps", "first"),
    [
        ("open", STEPS, "closed"),
        ("open", STEPS[STEPS.index("  - power_up") :], "open"),
        ("closed", STEPS[STEPS.index("  - power_up") :], "closed"),
    ],
)
@pytest.mark.parametrize("rest", ["open", "closed"])
def test_the_sheet_has_contacts_stand_before_the_first_output_and_after_the_last(
    starts: str, steps: str, first: str, rest: str, tmp_path: Path
) -> None:
    relays = RELAYS.replace("starts: open", f"starts: {starts}")
    relays = relays.replace("without_power: open", f"without_power: {rest}")
    path = documents(tmp_path / "s", steps=steps, relays=relays)
    own = load_documents(path)
    assert [each.split(": ")[-1] for each in contacts_first(own)] == [f"{first}."]
    assert [each.split(": ")[-1] for each in contacts_last(own)] == [f"{rest}."]
    settings = Job.open(path).check(static=True).settings
    sources, timeline = sources_of(own)
    tasks = in_order(own, settings.set_points, sources, timeline, coming_up(timeline))
    with_contacts = [
        number for number, task in enumerate(tasks) if any("gate" in each for each in task.parts)
    ]
    # After the outputs are set up and before the first is switched on; before the last, about touching.
    assert with_contacts == [2, len(tasks) - 2]
    off = next(number for number, task in enumerate(tasks, 1) if task.words.startswith("All off"))
    assert all(f"step {off}" in task.words for task in tasks if "in the order of" in task.words)


def test_the_sheet_moves_a_contact_between_two_power_ups(tmp_path: Path) -> None:
    """transducer on with the gate of main open, the gate closed, main on."""
    steps = (
        "  - power_up: {order: [transducer], rise: 2 V/ms, settle: 150 ms}\n"
        "  - relays: {close: [gate], settle: 50 ms}\n"
        "  - power_up: {order: [main], rise: 2 V/ms, settle: 150 ms}\n    name: steady\n"
        "  - power_down: {order: [main, transducer], gap: 20 ms}\n"
    )
    path = documents(tmp_path / "s", steps=steps)
    own = load_documents(path)
    (sources, timeline), settings = sources_of(own), Job.open(path).check(static=True).settings
    tasks = in_order(own, settings.set_points, sources, timeline, coming_up(timeline))
    stands = [task.parts[0].split(": ")[-1] for task in tasks if any("gate" in each for each in task.parts)]
    assert stands == ["open.", "closed.", "open."]
    # 12 ms up, 150 ms settling, 50 ms for the contact.
    assert says(tasks[7].words, "212 ms", "right.1", "left.1")
    place = next(number for number, task in enumerate(tasks) if task.parts and "closed." in task.parts[0])
    assert place == 6
    assert [says(tasks[number].words, name) for number, name in ((5, "transducer"), (8, "main"))] == [
        True
    ] * 2


def test_without_relays_nothing_is_said_of_them(tmp_path: Path) -> None:
    steps = STEPS.replace("  - relays: {close: [gate], settle: 50 ms}\n    name: connect\n", "")
    steps = steps.replace("  - relays: {open: [gate], settle: 100 ms}\n    name: disconnect\n", "")
    fixtures = RELAYS[RELAYS.index("fixtures:") :]
    own = load_documents(documents(tmp_path / "s", steps=steps, relays=fixtures))
    assert (list(contact_words(own)), contacts_first(own), contacts_last(own)) == ([], [], [])
    assert any("switch open" in wire for wire in wires(own))


def test_the_drawing_and_the_wires_call_the_switch_after_its_contact(tmp_path: Path) -> None:
    own = load_documents(documents(tmp_path / "s"))
    assert any("contact gate open" in wire for wire in wires(own))
    row = next(row for row in wiring_of(own.device, own.bench, own.procedure).rows if row.input == "main")
    assert row.fixture is not None
    assert (row.fixture.figures, row.fixture.opened) == (("contact gate open",), True)
