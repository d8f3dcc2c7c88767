"""The documents to start from."""

from __future__ import annotations

import pytest

from railwright.documents.loader import load_documents
from railwright.documents.templates import write_new


def test_a_new_set_of_documents_can_be_loaded(tmp_path):
    paths = write_new(tmp_path / "new" / "station")
    assert [path.name for path in paths] == ["my.bench.yaml", "my.device.yaml", "my.procedure.yaml"]
    documents = load_documents(tmp_path / "new" / "station" / "my.procedure.yaml")
    assert documents.device.device == "My device"
    assert all("#" in path.read_text(encoding="utf-8") for path in paths)


def test_nothing_is_overwritten(tmp_path):
    (tmp_path / "my.device.yaml").write_text("mine")
    with pytest.raises(FileExistsError, match=r"my\.device\.yaml"):
        write_new(tmp_path)
    assert (tmp_path / "my.device.yaml").read_text() == "mine"
    assert not (tmp_path / "my.bench.yaml").exists()
