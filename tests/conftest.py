"""Locks and off plans of tests in a folder of their own: tests side by side are no runs side by side."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest


@pytest.fixture(scope="session", autouse=True)
def _runtime_folder() -> Iterator[None]:
    # A short path: the name of a socket in it has to fit into a hundred bytes.
    with TemporaryDirectory(prefix="rw-", ignore_cleanup_errors=True) as folder:
        before = os.environ.get("RAILWRIGHT_RUNTIME")
        os.environ["RAILWRIGHT_RUNTIME"] = str(Path(folder))
        yield
        if before is None:
            del os.environ["RAILWRIGHT_RUNTIME"]
        else:
            os.environ["RAILWRIGHT_RUNTIME"] = before
