"""Documents written from what they say, and what was done written as one: pure, nothing is played."""

from __future__ import annotations

from typing import Any

import pytest

from railwright.documents.nodes import compose
from railwright.powering.procedures import done
from railwright.powering.text import as_document
from railwright.quantities import parse_value
from railwright.traces import Event, EventKind, Facts

HEAD: dict[str, Any] = {
    "procedure": "main by hand",
    "device": "d.yaml",
    "bench": "b.yaml",
    "hook_up": {"main": {"from": "left.1", "lead": "pair", "sense": "at load"}},
    "limits": {"main": {"current_limit": "1 A", "at_limit": "regulate", "ovp": "18 V"}},
    "steps": [],
    "record": {"every": "100 ms"},
}


@pytest.mark.parametrize(
    "tree",
    [
        HEAD,
        {"a": "yes", "on": "off", "n": "1e3", "empty": "", "list": [], "none": {}},
        {"Ä name: with # signs": ["- x", "{y}", "[z", "a: b", "'quoted'", '"both"', "µ Ω ± × 1 %"]},
        {"deep": [{"step": {"segments": [{"hold": "1 s"}] * 30, "other": "x" * 120}, "name": "long"}]},
        {"lists": [["a", "b"], [{"c": "d"}]], "blank": " leading", "back\\slash": "tab\there"},
    ],
)
def test_a_document_says_what_it_was_made_from(tree: dict[str, Any]) -> None:
    root, problems = compose(as_document(tree, ["A remark: # with signs.", "x " * 200]), "file")
    assert problems == []
    assert root is not None
    assert root.plain() == tree


def event(time: float, kind: EventKind, voltage: float | None = None, subject: str = "main") -> Event:
    return Event(time, subject, kind, Facts(voltage=voltage), "here" if kind is EventKind.MARKED else "")


ON, OFF, LEVEL = EventKind.ON, EventKind.OFF, EventKind.LEVEL_SET


@pytest.mark.parametrize(
    ("events", "segments"),
    [
        ([event(0.0, ON), event(5.0, OFF)], [{"hold": "4 s"}]),
        (
            [event(0.1, ON), event(2.1, LEVEL, 9.0), event(3.1, LEVEL, 15.0), event(4.1, OFF)],
            [{"hold": "1 s"}, {"step_to": "9 V"}, {"hold": "1 s"}, {"step_to": "15 V"}, {"hold": "1 s"}],
        ),
        # Off and on again to the level that was asked for meanwhile.
        (
            [event(0.0, ON), event(1.0, OFF), event(2.0, LEVEL, 9.123456), event(3.5, ON), event(4.0, OFF)],
            [{"hold": "500 ms"}, {"off_for": "2.5 s"}, {"step_to": "9.123456 V"}, {"hold": "500 ms"}],
        ),
        # The same level as before is not told again.
        (
            [event(0.0, ON), event(1.0, OFF), event(1.5, LEVEL, 12.0), event(2.0, ON), event(3.0, OFF)],
            [{"hold": "500 ms"}, {"off_for": "1 s"}, {"hold": "1 s"}],
        ),
        # A trip, and what its end tells after it.
        (
            [event(0.0, ON), event(4.0, EventKind.TRIPS_OVP), event(4.1, EventKind.OFF_SENT)],
            [{"hold": "3 s"}],
        ),
        # Off once more than it was on; other inputs; two things in one instant.
        (
            [
                event(0.0, ON, subject="aux"),
                event(0.0, ON),
                event(1.0, LEVEL, 9.0),
                event(1.0, LEVEL, 10.0),
                event(2.0, OFF),
                event(9.0, EventKind.OFF_SENT),
            ],
            [{"hold": "500 ms"}, {"step_to": "9 V"}, {"step_to": "10 V"}, {"hold": "1 s"}],
        ),
    ],
)
def test_what_was_done_in_segments_after_it_came_up(
    events: list[Event], segments: list[dict[str, str]]
) -> None:
    tree, marks = done(HEAD, "main", 12.0, events)
    (up, shape, down) = tree["steps"]
    # A second, or half of the first hold where that is less, is what it comes up in.
    first = next(each.time for each in events if each.subject == "main" and each.kind is not ON)
    came_up = parse_value(up["power_up"]["settle"], "s")
    begun = next(each.time for each in events if each.subject == "main" and each.kind is ON)
    assert came_up + parse_value(segments[0]["hold"], "s") == pytest.approx(first - begun)
    assert came_up == pytest.approx(min(1.0, 0.5 * (first - begun)))
    assert up["power_up"]["voltages"] == {"main": "12 V"}
    assert shape["shape"]["segments"] == segments
    assert down == {"power_down": {"order": ["main"]}}
    assert marks == []


def test_marks_have_their_time_and_text() -> None:
    events = [event(0.0, ON), event(1.23456, EventKind.MARKED), event(2.0, OFF)]
    assert done(HEAD, "main", 12.0, events)[1] == ["1.235 s: here"]
