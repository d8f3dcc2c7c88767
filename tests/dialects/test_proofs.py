"""What a proof rests on: a changed entry makes that unproved again, and nothing else."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any

import pytest

from railwright.dialects.dialect import Dialect, load_dialect
from railwright.dialects.files import dialect_names, dialect_text
from railwright.dialects.proofs import (
    ALWAYS,
    PROVOKED,
    InstrumentModel,
    Proof,
    Proofs,
    Provoked,
    entries_of,
    provokable,
)
from railwright.documents.dialect_files import read_dialect

SUPPLY = InstrumentModel("Invented Instruments", "QS-362", "1.4")


def proofs_of(dialect: Dialect, channel: int = 1, *, at: str = "2026-11-02T10:00:00+00:00") -> list[Proof]:
    """All that can be, at one output."""
    return [
        Proof(
            SUPPLY, channel, each, entries_of(dialect, each, channel), dialect.name, "", at, "A. Keeper", ""
        )
        for each in provokable(dialect)
    ]


def changed(name: str, old: str, new: str) -> Dialect:
    text = dialect_text(name)
    assert text.count(old) == 1, old
    return read_dialect(text.replace(old, new), f"{name}.yaml")


@pytest.mark.parametrize("name", dialect_names())
def test_everything_is_proved_of_the_dialect_that_was_provoked(name: str) -> None:
    dialect = load_dialect(name)
    known = Proofs(tuple(proofs_of(dialect)))
    assert set(known.of(dialect, SUPPLY, 1)) == set(provokable(dialect)) >= set(ALWAYS)
    assert known.missing(dialect, SUPPLY, 1, provokable(dialect)) == ()
    # Of another version, another output, or another dialect, nothing is.
    assert known.of(dialect, replace(SUPPLY, version="1.5"), 1) == {}
    assert known.of(dialect, SUPPLY, 2) == {}
    other = load_dialect(next(each for each in dialect_names() if each != name))
    assert known.of(other, SUPPLY, 1) == {}


EVERY: set[Provoked] = set(PROVOKED)
SLEWS: tuple[Provoked, ...] = ("rising slew", "falling slew")


@pytest.mark.parametrize(
    ("name", "old", "new", "unproved"),
    [
        ("channel-list", "OVP: 12,", "OVP: 13,", {"OVP"}),
        ("channel-list", "OCP: 11,", "OCP: 14,", {"OCP"}),
        ("channel-list", "{CV: 10, CC: 11, CP: 12}", "{CV: 11, CC: 10, CP: 12}", {"CV", "CC"}),
        ("channel-list", "  ovp: SOURce:VOLTage:PROTection\n", "  ovp: VOLTage:PROTection\n", {"OVP"}),
        ("channel-list", "trip_delay: SOURce:", "trip_delay: ", {"current limit"}),
        (
            "channel-list",
            "  voltage: SOURce:VOLTage\n",
            "  voltage: VOLTage\n",
            {"on", "off", "CV", "OVP", *SLEWS},
        ),
        (
            "channel-list",
            "  current_limit: SOURce:CURRent\n",
            "  current_limit: CURRent\n",
            {"CC", "current limit"},
        ),
        (
            "channel-list",
            "current: FETCh:CURRent?",
            "current: MEASure:CURRent?",
            {"CC", "current limit", "OCP"},
        ),
        (
            "channel-list",
            "voltage: MEASure:VOLTage?",
            "voltage: FETCh:VOLTage?",
            {"on", "off", "CV", "OVP", "OPP", "linked", *SLEWS},
        ),
        ("channel-list", '"off": "OFF"', '"off": "0"', EVERY),
        ("channel-list", "output: OUTPut:STATe\n", "output: OUTPut\n", EVERY),
        ("channel-list", "list_readings: true", "list_readings: false", EVERY),
        ("channel-list", "at load: EXTernal", "at load: REMote", set()),
        ("channel-list", "slew_rising: SOURce:VOLTage:SLEW ", "slew_rising: VOLTage:SLEW ", set(SLEWS)),
        ("prefixed", "no link: NONE", "no link: ZERO", {"linked"}),
        (
            "named-output",
            "linked: 10, OPP: 3, OCP: 11, OTP: 4",
            "linked: 4, OPP: 3, OCP: 11, OTP: 10",
            {"linked"},
        ),
        ("channel-list", "SLEW:FALLing ", "SLEW:DOWN ", {"falling slew"}),
        ("channel-list", "link: OUTPut:PROTection:LINK", "link: OUTPut:LINK", {"linked"}),
        ("prefixed", 'prefix: "INSTrument{channel}:"', 'prefix: "CHANnel{channel}:"', EVERY),
    ],
)
def test_a_changed_entry_makes_what_rests_on_it_unproved(
    name: str, old: str, new: str, unproved: set[Provoked]
) -> None:
    before, after = load_dialect(name), changed(name, old, new)
    known = Proofs(tuple(proofs_of(before)))
    can = provokable(before)
    assert set(known.missing(after, SUPPLY, 1, can)) == unproved & set(can)


def test_units_and_names_of_outputs_are_entries() -> None:
    dialect = load_dialect("numbered-header")
    known = Proofs(tuple(proofs_of(dialect)))
    delay = dialect.settings["trip_delay"].model_copy(update={"unit": "us"})
    other = dialect.model_copy(update={"settings": {**dialect.settings, "trip_delay": delay}})
    assert known.missing(other, SUPPLY, 1, provokable(dialect)) == ("current limit",)
    readings = dialect.readings.model_copy(update={"current_unit": "mA"})
    other = dialect.model_copy(update={"readings": readings})
    assert set(known.missing(other, SUPPLY, 1, provokable(dialect))) == {"CC", "current limit", "OCP"}
    named = dialect.model_copy(update={"called": {1: "1", 2: "3"}})
    both = Proofs((*proofs_of(dialect), *proofs_of(dialect, 2)))
    assert both.missing(named, SUPPLY, 1, ALWAYS) == ()
    assert set(both.missing(named, SUPPLY, 2, ALWAYS)) == set(ALWAYS)


def test_the_newest_proof_counts() -> None:
    dialect = load_dialect("channel-list")
    first, second = proofs_of(dialect), proofs_of(dialect, at="2027-01-01T10:00:00+00:00")
    known = Proofs((*first, *second[:1]))
    assert known.of(dialect, SUPPLY, 1)["on"].at == "2027-01-01T10:00:00+00:00"
    assert known.of(dialect, SUPPLY, 1)["CC"].at == "2026-11-02T10:00:00+00:00"


def test_what_a_person_sets_cannot_be_provoked() -> None:
    assert "OVP" not in provokable(load_dialect("single-output"))
    assert set(provokable(load_dialect("single-output"))) == {*ALWAYS, *SLEWS, "current limit"}


NOT_PROVOKED = re.compile(
    r"name|impossible|watchdog\.|points\.|settings\.(sense|voltage_mode|voltage_range|current_range)\."
    r"|words\.(at load|at terminals|fixed|list|step|line)|"
    r"status\.trips\.(bits|words|each)\.OTP"
)
"""Entries on which nothing rests that is provoked: what a run sets by them is asked back, and no more."""


def leaves(node: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[tuple[Any, ...], Any]]:
    if isinstance(node, Mapping):
        for key, value in node.items():
            yield from leaves(value, (*path, key))
    elif node is not None and not isinstance(node, list | tuple):
        yield path, node


def other(value: Any) -> Any:
    """Another value of the same kind."""
    if isinstance(value, bool):
        return not value
    if isinstance(value, int):
        return 15  # a bit that no dialect here uses
    return value + 1.0 if isinstance(value, float) else f"{value}X"


def with_leaf(dialect: Dialect, path: tuple[Any, ...], value: Any) -> Dialect:
    """The dialect with one entry changed, whether or not a reader would take it."""
    first, *rest = path
    inner = getattr(dialect, first)
    if not rest:
        return dialect.model_copy(update={first: value})

    def put(node: Any, keys: Sequence[Any]) -> Any:
        if not keys:
            return value
        if isinstance(node, Mapping):
            return {**node, keys[0]: put(node[keys[0]], keys[1:])}
        return node.model_copy(update={keys[0]: put(getattr(node, keys[0]), keys[1:])})

    return dialect.model_copy(update={first: put(inner, rest)})


@pytest.mark.parametrize("name", dialect_names())
def test_every_entry_that_could_be_wrong_is_rested_on_or_named_as_not_provoked(name: str) -> None:
    """One entry after the other is changed: none that anything provoked rests on is forgotten."""
    dialect = load_dialect(name)
    can = provokable(dialect)
    before = {each: entries_of(dialect, each, 1) for each in can}
    forgotten, needless = [], []
    for path, value in leaves(dialect.model_dump()):
        changed_one = with_leaf(dialect, path, other(value))
        unproved = [each for each in can if entries_of(changed_one, each, 1) != before[each]]
        where = ".".join(str(key) for key in path)
        of_a_lack = any(f"settings.{setting}." in f"{where}." for setting in NOT_SET[name])
        of_a_lack = of_a_lack or (where.endswith(".linked") and "linked" not in can)
        if not unproved and not NOT_PROVOKED.match(where) and not of_a_lack:
            forgotten.append(where)
        if unproved and NOT_PROVOKED.match(where):
            needless.append(where)
    assert forgotten == []
    assert needless == []


NOT_SET: dict[str, tuple[str, ...]] = dict.fromkeys(dialect_names(), ()) | {"single-output": ("ovp",)}
"""Settings of protections that no command of a dialect sets."""


def test_why_a_command_is_harmless_proves_nothing() -> None:
    entry = "session: {opening: [{send: REMote, because: BECAUSE}]}\ninstrument: "
    one, other = (
        changed("channel-list", "instrument: ", entry.replace("BECAUSE", words)) for words in ("this", "that")
    )
    assert [each.entries for each in proofs_of(one)] == [each.entries for each in proofs_of(other)]
