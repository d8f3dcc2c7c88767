"""When a linked output goes off: with its supply, or when the program has seen the trip."""

from __future__ import annotations

from dataclasses import replace

import pytest
from tests.running.small import SET_POINTS, write
from tests.said import says

from railwright.assumptions import Assumption
from railwright.documents.loader import Documents, load_documents
from railwright.documents.output_name import OutputName
from railwright.plan.set_points import Feed
from railwright.rehearsal.circuit import build_circuit


@pytest.fixture
def documents(tmp_path) -> Documents:  # type: ignore[no-untyped-def]
    address = "TCPIP::127.0.0.1::1::SOCKET"
    return load_documents(write(tmp_path, address, address.replace("::1::", "::2::")))


def test_between_two_supplies_the_program_switches_after_its_next_look(documents: Documents) -> None:
    circuit, assumptions = build_circuit(documents, SET_POINTS)
    # Looked at every 10 ms, 20 ms for the look, 20 ms for the command.
    assert circuit.later_by == {("aux", "main"): pytest.approx(0.05)}
    assert any(says(str(line), "aux", "50 ms") for line in assumptions)


def test_however_seldom_readings_are_recorded_it_looks_every_50_ms(documents: Documents) -> None:
    record = documents.procedure.record.model_copy(update={"every": 1.0})
    slow = replace(documents, procedure=documents.procedure.model_copy(update={"record": record}))
    assert build_circuit(slow, SET_POINTS)[0].later_by == {("aux", "main"): pytest.approx(0.09)}


def test_within_a_supply_the_supply_does_it(documents: Documents) -> None:
    own = replace(SET_POINTS["aux"].outputs[0], output=OutputName("left.2"))
    feed: Feed = replace(SET_POINTS["aux"], outputs=(own,))
    circuit, assumptions = build_circuit(documents, {**SET_POINTS, "aux": feed})
    assert circuit.later_by == {}
    assert Assumption("", "a linked output switches off 1 ms after the trip it follows") in assumptions
