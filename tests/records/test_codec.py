"""Every format is stated once: what is written is read back, also as earlier versions wrote it."""

from __future__ import annotations

import json
import math
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Any

import pytest

from railwright.documents.sources import Location
from railwright.evaluation.data import as_data, evaluation_from_data
from railwright.evaluation.outcome import Contradiction, Evaluation, Outcome, Result
from railwright.measures.outcome import Contribution, Measured
from railwright.plan.set_points import Feed, OutputSetPoints
from railwright.quantities import StatedFigure
from railwright.records.codec import (
    FLAG,
    NUMBER,
    TEXT,
    WHOLE,
    Codec,
    Key,
    Misfit,
    by_name,
    choice,
    derived,
    fields,
    many,
    number,
    optional,
)
from railwright.records.finished import STEPS, spans_of
from railwright.settings.data import as_data as settings_data
from railwright.settings.data import settings_from_data
from railwright.settings.findings import Finding, Reason, Severity
from railwright.settings.settle import Settings
from railwright.traces import Span


class Kind(StrEnum):
    ONE = "one"


@dataclass(frozen=True)
class Thing:
    name: str
    size: float
    kind: Kind
    tags: tuple[str, ...] = ()
    note: str | None = None


THING = fields(
    Thing,
    name=TEXT,
    double=derived(lambda thing: thing.size * 2.0),
    extent=Key(number(null=math.inf), field="size"),
    kind=choice(Kind),
    tags=Key(many(TEXT), missing=("none",)),
    note=optional(TEXT),
)


def through(codec: Codec[Any], value: Any) -> Any:
    return codec.read(json.loads(json.dumps(codec.write(value), allow_nan=False)))


def test_keys_come_in_the_order_of_the_format_and_go_back() -> None:
    thing = Thing("a", 1.5, Kind.ONE, ("x", "y"))
    assert list(THING.write(thing).items()) == [
        ("name", "a"),
        ("double", 3.0),
        ("extent", 1.5),
        ("kind", "one"),
        ("tags", ["x", "y"]),
        ("note", None),
    ]
    assert through(THING, thing) == thing


def test_what_json_has_no_number_for_is_null() -> None:
    thing = Thing("a", math.inf, Kind.ONE)
    assert THING.write(thing)["extent"] is None
    plain = fields(Thing, name=TEXT, size=number(null=math.inf), kind=choice(Kind), note=optional(TEXT))
    assert through(plain, thing) == thing


def test_a_key_that_an_earlier_version_did_not_write() -> None:
    data = {"name": "a", "extent": 1.0, "kind": "one", "note": None}
    assert THING.read(data) == Thing("a", 1.0, Kind.ONE, ("none",))
    del data["note"]
    with pytest.raises(Misfit, match="note: expected a value"):
        THING.read(data)


def test_values_by_name_do_not_repeat_it() -> None:
    codec = by_name(THING, field="name")
    things = {"a": Thing("a", 1.0, Kind.ONE), "b": Thing("b", 2.0, Kind.ONE)}
    assert "name" not in codec.write(things)["a"]
    assert through(codec, things) == things


@pytest.mark.parametrize(
    ("codec", "data"),
    [
        (THING, []),
        (THING, {"name": 1, "extent": 1.0, "kind": "one", "note": None}),
        (THING, {"name": "a", "extent": "wide", "kind": "one", "note": None}),
        (THING, {"name": "a", "extent": 1.0, "kind": "two", "note": None}),
        (NUMBER, None),
        (NUMBER, 10**400),
        (NUMBER, "5"),
        (NUMBER, True),
        (NUMBER, math.nan),
        (WHOLE, 1.5),
        (FLAG, "no"),
        (WHOLE, math.inf),
        (many(TEXT), "text"),
        (by_name(THING, field="name"), {"a": 1}),
        (by_name(THING, field="name"), [1]),
    ],
)
def test_what_is_something_else_is_refused(codec: Codec[Any], data: Any) -> None:
    with pytest.raises(Misfit):
        codec.read(data)


MEASURED = Measured(
    1.0,
    0.9,
    math.inf,
    (Contribution("noise", 0.05, "normal"),),
    "largest value",
    unseen="a peak",
    would_decide="a recording",
    assumptions=("resolution",),
    elsewhere="but for the rest",
)
RESULT = Result(
    "inrush", "peak_current", "main", "on", "A", None, 1.5, MEASURED, Outcome.INCONCLUSIVE, "r", "readings"
)
EVALUATION = Evaluation(
    (RESULT, replace(RESULT, measured=None, requirement="other", lower=0.5, upper=None, at="terminals")),
    "guarded",
    1.0,
    ("supply readings", "recorder"),
    ("a note",),
    "the run ended early",
    (0.25,),
    (Contradiction("main", "voltage", ("supply readings", "recorder"), (9.0, 12.0), 0.05, 1.5, 1.25, 2.0),),
    given=(1e-3,),
)


def test_an_evaluation_goes_to_json_and_back() -> None:
    data = json.loads(json.dumps(as_data(EVALUATION), allow_nan=False))
    assert evaluation_from_data(data) == EVALUATION
    first = data["requirements"][0]
    assert (data["outcome"], first["name"], first["measured"]["high"]) == ("inconclusive", "inrush", None)
    assert first["measured"]["coverage"] == 0.95
    assert list(data) == [
        "outcome",
        "withheld",
        "unsound",
        "rule",
        "guard_band",
        "sources",
        "offsets",
        "offsets_given_within",
        "contradictions",
        "lead_drops",
        "notes",
        "requirements",
    ]


def test_an_evaluation_of_an_earlier_version() -> None:
    """It has neither `withheld`, `unsound`, `offsets`, their bounds nor `elsewhere`."""
    data = json.loads(json.dumps(as_data(EVALUATION), allow_nan=False))
    del data["withheld"], data["unsound"], data["requirements"][0]["measured"]["elsewhere"]
    del data["offsets"], data["offsets_given_within"]
    read = evaluation_from_data(data)
    measured = replace(MEASURED, elsewhere="")
    assert read.results[0] == replace(RESULT, measured=measured)
    assert (read.withheld, read.unsound, read.offsets, read.given) == ("", (), (), ())


SETTINGS = Settings(
    {
        "main": Feed(
            "main",
            "series",
            (
                OutputSetPoints("left.1", 1.0, "trip", 0.04, 18.0, 0.5, opp=30.0),
                OutputSetPoints("left.2", 1.0, "regulate", 0.0, 18.0, 0.5, ocp=1.5, ocp_delay=0.01),
            ),
            "pair",
            "at load",
            ("aux",),
            "jig",
        ),
        "aux": Feed("aux", "alone", (OutputSetPoints("right.1", 0.5, "trip", 0.1, 6.0),), "pair", "at load"),
    },
    (
        Reason("main", "current limit", 1.0, "A", Location("p.yaml", 3, 5), "because"),
        Reason("main", "sense", "at load", "", None, "because"),
        Reason("main", "ovp", 18.0, "V", None, "as 20 V", (StatedFigure("withstood", 20.0, "V"),)),
    ),
    (Finding("rule", Severity.STOP, "main", Location("p.yaml", 3, 5), "why", "remedy", "accepted"),),
)


def test_settings_go_to_json_and_back() -> None:
    data = json.loads(json.dumps(settings_data(SETTINGS), allow_nan=False))
    assert settings_from_data(data) == SETTINGS
    assert list(data) == ["blocked", "set_points", "reasons", "windows", "findings", "rises"]
    assert "input" not in data["set_points"]["main"]
    told = data["set_points"]["main"]["outputs"]
    assert [each["trip_delay"] for each in told] == [0.04, None]
    assert [(each["ocp"], each["ocp_delay"]) for each in told] == [(None, None), (1.5, 0.01)]
    assert data["findings"][0]["blocks"] is False


def test_settings_of_an_earlier_version() -> None:
    """They have no further protections and no fixture, and no figures beside their reasons."""
    data = json.loads(json.dumps(settings_data(SETTINGS), allow_nan=False))
    for feed in data["set_points"].values():
        del feed["fixture"]
        for output in feed["outputs"]:
            del output["opp"], output["ocp"], output["ocp_delay"]
    for each in (*data["reasons"], *data["findings"]):
        del each["figures"]
    read = settings_from_data(data)
    assert [each.opp for each in read.set_points["main"].outputs] == [math.inf, math.inf]
    assert read.set_points["main"].fixture is None
    assert read.set_points["aux"] == SETTINGS.set_points["aux"]
    assert read.reasons == tuple(replace(each, figures=()) for each in SETTINGS.reasons)
    assert read.findings == SETTINGS.findings


@pytest.mark.parametrize("rises", [[], 1, {"first": 1.0}, {"0": None}, {"0": 10**400}])
def test_rates_of_rise_that_are_none_are_refused(rises: Any) -> None:
    with pytest.raises((KeyError, TypeError, ValueError)):
        settings_from_data({**settings_data(SETTINGS), "rises": rises})


def test_steps_of_an_earlier_version_do_not_say_how_they_were_played() -> None:
    steps = (
        Span("on", "power_up", 0.0, 1.0, ("main",), late=1e-3, left_out=2, time_error=1e-4, status_gap=0.02),
        Span("sweep", "sweep", 1.0, 3.0, ("main",), ((9.0, 1.0, 2.0), (12.0, 2.0, 3.0)), whole=False),
    )
    data = json.loads(json.dumps(STEPS.write(steps)))
    assert spans_of(data, True) == steps
    for each in data:
        del each["whole"], each["late"], each["left_out"], each["time_error"], each["status_gap"]
    assert [(each.whole, each.late) for each in spans_of(data, False)] == [(True, 0.0), (False, 0.0)]
    assert [each.whole for each in spans_of(data, True)] == [True, True]
