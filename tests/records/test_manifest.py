"""The manifest says what of a folder changed, of a long recording too."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from tests.said import says

from railwright.records import manifest
from railwright.records.manifest import verify_manifest, write_manifest
from railwright.records.names import MANIFEST


def test_a_recording_may_be_larger_than_a_log(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """`evaluate --record` keeps a copy of what it used, and `run` one of what a shape plays."""
    monkeypatch.setattr(manifest, "LARGEST_LOG", 1000)
    for name in ("log.ndjson", "recordings/01-scope.csv", "documents/surge.csv"):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_bytes(bytes(2000))
    write_manifest(tmp_path)
    assert verify_manifest(tmp_path).changed == ("log.ndjson",)
    (tmp_path / "recordings/01-scope.csv").write_bytes(bytes(1999) + b"1")
    assert verify_manifest(tmp_path).changed == ("log.ndjson", "recordings/01-scope.csv")


@pytest.mark.parametrize(
    ("written", "told"),
    [
        ("[]", ("'algorithm'", "'files'", "a list")),
        ("null", ("'files'", "none")),
        ('{"algorithm": "SHA-256", "files": []}', ("'files'", "a list")),
        ('{"algorithm": "SHA-256"}', ("'files'", "none")),
        ('{"algorithm": "MD5", "files": {}}', ("'SHA-256'", "'MD5'")),
        ('{"algorithm": ["SHA-256"], "files": {}}', ("'SHA-256'", "['SHA-256']")),
        ('{"files": {}}', ("'SHA-256'", "none")),
        ("{", ("hashes of files",)),
    ],
)
def test_what_is_no_manifest_says_what_was_expected(
    tmp_path: Path, written: str, told: tuple[str, ...]
) -> None:
    (tmp_path / MANIFEST).write_text(written)
    found = verify_manifest(tmp_path)
    assert not found.sound
    assert says(found.manifest, MANIFEST, *told)
    assert "TypeError" not in found.manifest


def test_another_algorithm_is_not_taken_for_the_run_s_own(tmp_path: Path) -> None:
    (tmp_path / "run.json").write_text("{}")
    write_manifest(tmp_path)
    assert verify_manifest(tmp_path).sound
    path = tmp_path / MANIFEST
    path.write_text(json.dumps({**json.loads(path.read_text()), "algorithm": "MD5"}))
    assert not verify_manifest(tmp_path).sound
