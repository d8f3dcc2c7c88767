"""What was proved is kept in the user's folder: whole files, read back as they were written."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from tests.dialects.test_proofs import SUPPLY, proofs_of

from railwright.dialects.dialect import load_dialect
from railwright.dialects.files import USER_FOLDER
from railwright.documents.proof_files import ProofFileError, keep_proofs, proofs_folder, read_proofs
from railwright.records.manifest import UNFINISHED

DIALECT = load_dialect("channel-list")


def test_what_is_kept_is_read_back_in_order_of_time(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(USER_FOLDER, str(tmp_path))
    assert read_proofs().known == ()
    later = proofs_of(DIALECT, 2, at="2027-01-01T10:00:00+00:00")
    earlier = proofs_of(DIALECT)
    paths = [keep_proofs(later), keep_proofs(earlier), keep_proofs(earlier[:1])]
    assert len({*paths}) == 3
    assert {path.parent for path in paths if path is not None} == {proofs_folder()} == {tmp_path / "proved"}
    known = read_proofs()
    assert list(known.known[-len(later) :]) == later
    assert len(known.known) == len(later) + len(earlier) + 1
    assert known.instruments("QS-362") == (SUPPLY,)
    assert known.instruments(None) == (SUPPLY,)
    assert known.instruments("QS-321") == ()
    assert not [*proofs_folder().glob(f"*{UNFINISHED}")]


def test_nothing_is_written_for_nothing(tmp_path: Path) -> None:
    assert keep_proofs([], tmp_path / "proved") is None
    assert not (tmp_path / "proved").exists()


@pytest.mark.parametrize(
    "content",
    [
        "",
        "[]",
        "{}",
        '{"format": 2, "proofs": []}',
        '{"format": 1, "proofs": [{"channel": 1}]}',
        '{"format": 1, "proofs": [{"instrument": 3}]}',
        "\xff",
    ],
)
def test_a_file_that_is_none_is_told(tmp_path: Path, content: str) -> None:
    path = tmp_path / "a.json"
    path.write_bytes(content.encode("latin-1"))
    with pytest.raises(ProofFileError) as told:
        read_proofs(tmp_path)
    assert str(told.value).startswith(f"{path}:1:1: expected ")
    assert "\n" not in str(told.value)


@pytest.mark.parametrize(
    ("key", "value"), [("channel", "1"), ("channel", True), ("provoked", "ON"), ("entries", 3), ("by", None)]
)
def test_a_changed_proof_is_told(tmp_path: Path, key: str, value: object) -> None:
    path = keep_proofs(proofs_of(DIALECT), tmp_path)
    assert path is not None
    data = json.loads(path.read_text("utf-8"))
    data["proofs"][2][key] = value
    path.write_text(json.dumps(data), "utf-8")
    with pytest.raises(ProofFileError, match="prove again"):
        read_proofs(tmp_path)


def test_a_place_that_cannot_be_written_is_told(tmp_path: Path) -> None:
    (tmp_path / "proved").write_text("a file where the folder should be", "utf-8")
    with pytest.raises(ProofFileError, match="expected a place for what was proved"):
        keep_proofs(proofs_of(DIALECT), tmp_path / "proved")
