"""A run asks what was proved when the instruments have said who they are, before anything is told to them."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from tests.dialects.test_proofs import proofs_of
from tests.running.small import PROCEDURE, Small, small
from tests.said import says

from railwright.dialects.dialect import load_dialect
from railwright.dialects.files import USER_FOLDER, dialect_text
from railwright.dialects.proofs import PROVOKED, InstrumentModel, Proof, Proofs
from railwright.documents.dialect_files import read_dialect
from railwright.documents.proof_files import keep_proofs
from railwright.records.ended import Ended
from railwright.running.outcome import RunRefused
from railwright.traces import UNPROVED

pytestmark = pytest.mark.alone

LEFT, RIGHT = InstrumentModel("Invented", "M-1", "1.0"), InstrumentModel("Invented", "M-2", "2.0")


def real(bench: Small) -> Small:
    """The fakes, as real supplies would name themselves."""
    bench.left.identity, bench.right.identity = "Invented,M-1,S-1,1.0", "Invented,M-2,S-2,2.0"
    return bench


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Small]:
    with small(tmp_path) as made:
        yield real(made)


def known(**changed: str) -> Proofs:
    found: list[Proof] = []
    for instrument, dialect in ((LEFT, "channel-list"), (RIGHT, "selected-output")):
        found += [replace(each, instrument=instrument) for each in proofs_of(load_dialect(dialect))]
    return Proofs(tuple(replace(each, **changed) for each in found))  # type: ignore[arg-type]


def asked_only(bench: Small) -> bool:
    """Whether the supplies were told nothing at all: only asked who they are."""
    return {*bench.left.units, *bench.right.units} == {"*IDN?"}


def test_nothing_is_told_to_a_supply_whose_dialect_nobody_proved(bench: Small) -> None:
    outcome = bench.run(proofs=Proofs())
    assert outcome.ended is Ended.STOPPED
    assert says(outcome.cause, "left.1 (M-1, version 1.0)", "on, off, CV, CC", "OPP, OCP")
    assert "right.1 (M-2, version 2.0)" in outcome.cause
    assert asked_only(bench)
    assert not outcome.energised


def test_what_is_proved_runs_and_stands_in_the_record(bench: Small) -> None:
    outcome = bench.run(proofs=known())
    assert outcome.ended is Ended.COMPLETED, outcome.cause
    (left, right) = json.loads((outcome.folder / "run.json").read_text("utf-8"))["proved"]
    assert (left["output"], left["model"], left["version"]) == ("left.1", "M-1", "1.0")
    assert set(left["proved"]) == set(PROVOKED) - {"linked"}
    assert left["proved"]["CC"]["by"] == "A. Keeper"
    assert (left["missing"], right["missing"]) == ([], [])
    lines = [json.loads(line) for line in (outcome.folder / "log.ndjson").read_text("utf-8").splitlines()]
    assert [line["output"] for line in lines if line["kind"] == "proved"] == ["left.1", "right.1"]


@pytest.mark.parametrize(("bit", "trip", "unproved"), [(4, "OTP", True), (9, "current limit", False)])
def test_a_trip_that_nobody_provoked_is_told_as_the_supply_names_it(
    bench: Small, bit: int, trip: str, unproved: bool
) -> None:
    bench.during_steady(lambda: bench.left.trip(1, bit))
    outcome = bench.run(proofs=known())
    assert outcome.ended is Ended.TRIPPED, outcome.cause
    (event,) = (e for e in outcome.record.events if e.kind.trip == trip and e.subject == "main")
    assert event.facts.unproved is unproved
    assert (UNPROVED in outcome.cause) is unproved
    assert bench.everything_off


def test_another_version_or_a_changed_entry_is_unproved_again(bench: Small, tmp_path: Path) -> None:
    bench.left.identity = "Invented,M-1,S-1,1.1"
    outcome = bench.run(proofs=known())
    assert outcome.ended is Ended.STOPPED
    assert "version 1.1" in outcome.cause
    assert "M-2" not in outcome.cause
    assert asked_only(bench)
    bench.left.identity = "Invented,M-1,S-1,1.0"
    moved = read_dialect(dialect_text("channel-list").replace("OVP: 12,", "OVP: 13,"), "channel-list.yaml")
    supply = bench.documents.bench.supplies["left"].model_copy(update={"dialect": moved})
    changed = bench.documents.bench.model_copy(
        update={"supplies": {**bench.documents.bench.supplies, "left": supply}}
    )
    bench.documents = replace(bench.documents, bench=changed)
    outcome = bench.run(proofs=known(), folder=tmp_path / "again")
    assert outcome.ended is Ended.STOPPED
    assert says(outcome.cause, "left.1 (M-1, version 1.0): OVP.")
    assert asked_only(bench)


@pytest.mark.parametrize("about", ["", "about: left, "])
def test_an_override_lets_it_run_and_says_why(tmp_path: Path, about: str) -> None:
    override = f"overrides:\n  - {{finding: dialect-unproved, {about}because: tried by hand}}\n"
    with small(tmp_path, PROCEDURE + override) as made:
        bench = real(made)
        outcome = bench.run(proofs=Proofs(tuple(p for p in known().known if p.instrument == RIGHT)))
        assert outcome.ended is Ended.COMPLETED, outcome.cause
        (told,) = (each for each in outcome.cautions if "not proved" in each)
        assert says(told, "left.1", "on, off, CV, CC", "M-1, version 1.0", "tried by hand")


def test_an_override_of_one_supply_is_none_of_another(tmp_path: Path) -> None:
    override = "overrides:\n  - {finding: dialect-unproved, about: left, because: tried by hand}\n"
    with small(tmp_path, PROCEDURE + override) as made:
        bench = real(made)
        outcome = bench.run(proofs=Proofs())
        assert outcome.ended is Ended.STOPPED
        assert "right.1" in outcome.cause
        assert "left.1" not in outcome.cause
        assert asked_only(bench)


def test_simulated_supplies_need_no_proof(tmp_path: Path) -> None:
    with small(tmp_path) as bench:
        outcome = bench.run(proofs=Proofs())
        assert outcome.ended is Ended.COMPLETED, outcome.cause
        assert json.loads((outcome.folder / "run.json").read_text("utf-8"))["proved"] == []


def test_the_run_reads_what_is_kept(bench: Small, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(USER_FOLDER, str(tmp_path / "user"))
    assert bench.run(folder=tmp_path / "first").ended is Ended.STOPPED
    keep_proofs(known().known)
    assert bench.run(folder=tmp_path / "second").ended is Ended.COMPLETED
    (tmp_path / "user" / "proved" / "broken.json").write_text("{", "utf-8")
    with pytest.raises(RunRefused, match=r"broken\.json:1:1: expected"):
        bench.run(folder=tmp_path / "third")
