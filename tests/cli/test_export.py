"""The command `export`."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pandas as pd
import pytest
from tests.evaluation.stored_runs import store
from tests.said import says
from typer.testing import Result

Cli = Callable[..., Result]


def test_paths_go_to_standard_output_and_the_run_stays_as_it_was(tmp_path: Path, cli: Cli) -> None:
    run = store(tmp_path / "x")
    before = {path: path.read_bytes() for path in run.rglob("*") if path.is_file()}
    for _ in range(2):  # a second time the same files
        result = cli("export", run, "--to", "csv", "-q")
        assert (result.exit_code, result.stderr) == (0, "")
        paths = [Path(line) for line in result.stdout.splitlines()]
        assert [path.parent for path in paths] == [run / "export"] * 2
        assert len(pd.read_csv(paths[0], comment="#")) > 100
    assert {path: path.read_bytes() for path in before} == before
    assert set((run / "export").iterdir()) == set(paths)
    assert cli("evaluate", run, "-q").exit_code == 0


def test_a_run_that_is_not_whole_is_exported_with_a_caution(tmp_path: Path, cli: Cli) -> None:
    run = store(tmp_path / "x", ended="stopped", cause="the lid was opened")
    result = cli("export", run, "--to", "parquet", "--folder", tmp_path / "to")
    assert result.exit_code == 0
    (line,) = result.stderr.splitlines()
    assert says(line, "caution", "the lid was opened")
    remarks = [pd.read_parquet(path).attrs["remarks"] for path in map(Path, result.stdout.splitlines())]
    assert all(says(each[0], "the lid was opened") for each in remarks)


@pytest.mark.parametrize("to", ["xls", "CSV", ""])
def test_another_kind_is_one_line(tmp_path: Path, cli: Cli, to: str) -> None:
    result = cli("export", tmp_path, "--to", to)
    assert result.exit_code == 2
    (line,) = result.stderr.splitlines()
    assert says(line, "--to", "csv", "parquet", "hdf5", f"'{to}'")


def test_no_run_and_no_place_are_one_line(tmp_path: Path, cli: Cli) -> None:
    nothing = cli("export", tmp_path / "nothing", "--to", "csv")
    assert (nothing.exit_code, len(nothing.stderr.splitlines())) == (2, 1)
    run = store(tmp_path / "x")
    (tmp_path / "file").write_text("", "utf-8")
    refused = cli("export", run, "--to", "hdf5", "--folder", tmp_path / "file")
    assert (refused.exit_code, len(refused.stderr.splitlines())) == (2, 1)
    assert says(refused.stderr, str(tmp_path / "file"))
