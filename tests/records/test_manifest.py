"""The manifest says what of a folder changed, of a long recording too."""

from __future__ import annotations

from pathlib import Path

import pytest

from railwright.records import manifest
from railwright.records.manifest import verify_manifest, write_manifest


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
