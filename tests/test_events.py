"""Events: their kinds, the facts that they carry, the sentence that people read, and how files hold them."""

import json

import pytest

from railwright.traces import Event, EventKind, Facts, Mode, enters, trips


def test_a_kind_says_which_protection_tripped_and_which_mode_regulates():
    assert {kind: kind.trip for kind in EventKind if kind.trip} == {
        EventKind.TRIPS_OVP: "OVP",
        EventKind.TRIPS_CURRENT_LIMIT: "current limit",
        EventKind.TRIPS_LINKED: "linked",
        EventKind.TRIPS_OPP: "OPP",
        EventKind.TRIPS_OCP: "OCP",
        EventKind.TRIPS_OTP: "OTP",
    }
    assert {mode: enters(mode) for mode in (Mode.CV, Mode.CC, Mode.CP)} == {
        Mode.CV: EventKind.ENTERS_CV,
        Mode.CC: EventKind.ENTERS_CC,
        Mode.CP: EventKind.ENTERS_CP,
    }
    assert trips("current limit") is EventKind.TRIPS_CURRENT_LIMIT


@pytest.mark.parametrize(
    ("kind", "facts", "sentence"),
    [
        (EventKind.ON, Facts(), ""),
        (EventKind.ENTERS_CC, Facts(limit=1.5), "limit 1.5 A"),
        (EventKind.TRIPS_OVP, Facts(level=18.0), "level 18 V"),
        (EventKind.TRIPS_OPP, Facts(level=20.0), "level 20 W"),
        (EventKind.TRIPS_OCP, Facts(level=0.9), "level 0.9 A"),
        (EventKind.TRIPS_LINKED, Facts(source="gate"), "because gate tripped"),
        (EventKind.STARTS, Facts(load="converter"), "converter"),
        (EventKind.ENTERS_CV, Facts(voltage=12.0, current=0.5), "at 12 V, 0.5 A"),
        (
            EventKind.ENTERS_CC,
            Facts(unread=True, before=(12.0, 0.5)),
            "no reading lies wholly in it; before it 12 V, 0.5 A",
        ),
        (
            EventKind.FELL,
            Facts(below=1.0, after=0.25, voltage=0.5, before=(2.0, 0.0), ago=0.05),
            "below 1 V 250 ms after it was switched off, at 0.5 V; 50 ms before that, 2 V",
        ),
        (
            EventKind.FELL,
            Facts(below=1.0, after=0.25, voltage=0.0),
            "below 1 V 250 ms after it was switched off, at 0 V",
        ),
        (
            EventKind.VOLTAGE_FOUND,
            Facts(voltage=3.7, held=True),
            "3.7 V stand there before it is switched on, held by the device",
        ),
        (
            EventKind.SOURCE_READ,
            Facts(voltage=3.7, level=3.71),
            "3.7 V stand there; set to 3.71 V before it goes on",
        ),
        (EventKind.OFF_CONFIRMED, Facts(), ""),
        (EventKind.OFF_CONFIRMED, Facts(voltage=3.7), "device holds 3.7 V"),
        (EventKind.CURRENT_LIMIT_SET, Facts(), "as settled"),
        (EventKind.CURRENT_LIMIT_SET, Facts(limit=2.0), "2 A"),
        (EventKind.SETTINGS_WATCHED, Facts(period=1.2), "each again in about 1.2 s"),
        (
            EventKind.WATCHDOG_ARMED,
            Facts(after=3.0, period=0.1),
            "its outputs go off 3 s after the last message; longest silence 100 ms",
        ),
        (EventKind.ANSWERS_AGAIN, Facts(after=0.5), "after 500 ms"),
    ],
)
def test_facts_make_the_sentence_and_survive_a_file(kind, facts, sentence):
    event = Event(0.5, "main", kind, facts)
    assert (event.what, event.detail) == (kind.value, sentence)
    again = Event.from_data(json.loads(json.dumps(event.as_data())))
    assert again == event
    assert (again.kind, again.facts) == (kind, facts)


def test_what_is_said_goes_before_what_facts_say_and_survives_too():
    event = Event(1.0, "run", EventKind.RUN_ENDS, text="main tripped: OVP")
    assert event.detail == "main tripped: OVP"
    assert "facts" not in event.as_data()
    assert Event.from_data(event.as_data()) == event


@pytest.mark.parametrize(
    ("what", "detail", "kind", "facts"),
    [
        ("trips OVP", "before it 17.9 V, 0.4 A", EventKind.TRIPS_OVP, Facts()),
        ("enters CC", "at 8 V, 0.99 A", EventKind.ENTERS_CC, Facts()),
        ("starts", "converter", EventKind.STARTS, Facts(load="converter")),
        ("current limit", "as settled", EventKind.CURRENT_LIMIT_SET, Facts()),
        ("point list starts", "12 points in steps", EventKind.POINT_LIST_STARTS, Facts()),
    ],
)
def test_what_an_earlier_version_wrote_reads_as_it_stands(what, detail, kind, facts):
    stored = {"time": 1.5, "subject": "main", "what": what, "detail": detail}
    event = Event.from_data(stored)
    assert (event.kind, event.facts) == (kind, facts)
    data = event.as_data()
    data.pop("facts", None)
    assert data == stored


def test_what_nobody_knows_keeps_its_words():
    stored = {"time": 1.5, "subject": "main", "what": "all but full", "detail": "hold_up_bank"}
    event = Event.from_data(stored)
    assert (event.kind, event.what, event.detail) == (EventKind.OTHER, "all but full", "hold_up_bank")
    assert event.as_data() == stored


@pytest.mark.parametrize(
    "broken",
    [
        {},
        {"time": "soon", "subject": "main", "what": "on", "detail": ""},
        {"time": 1.0, "subject": "main", "what": "fell", "detail": "", "facts": {"below": "low"}},
        {"time": 1.0, "subject": "main", "what": "fell", "detail": "", "facts": {"before": [1.0]}},
        {"time": 1.0, "subject": "main", "what": "fell", "detail": "", "facts": 3},
    ],
)
def test_what_is_no_event_is_refused(broken):
    with pytest.raises((KeyError, TypeError, ValueError)):
        Event.from_data(broken)
