"""`railwright probe` at a simulated supply: what it sends, and the bench entry that it begins."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from ruamel.yaml import YAML
from typer.testing import Result

from railwright.documents.loader import load_bench
from railwright.examples import example
from railwright.twin.launcher import TwinBench

pytestmark = pytest.mark.alone


def test_it_asks_and_changes_nothing(cli: Callable[..., Result], tmp_path: Path) -> None:
    bench = load_bench(example() / "quay.bench.yaml").model
    with TwinBench(bench, mischief=()) as twins:
        address = twins.bench.supplies["left"].address
        entry = tmp_path / "left.yaml"
        alone = cli("probe", address)
        assert alone.exit_code == 0, alone.stderr
        assert "QS-362" in alone.stdout
        assert "# read:" not in alone.stdout
        more = cli("probe", address, "--dialect", "channel-list", "--to", entry)
        assert more.exit_code == 0, more.stderr
        assert "# read: ovp 38.0" in more.stdout
        again = cli("probe", address, "--to", entry)
        assert again.exit_code == 2
        assert not any(spans for spans in twins.energised().values())
    made = YAML(typ="safe").load(entry.read_text("utf-8"))["supplies"]["qs-362"]
    assert (made["address"], made["dialect"], made["model"]) == (address, "channel-list", "QS-362")
    assert set(made["outputs"][1]) >= {"voltage", "current", "ovp"}


def test_nobody_there_is_told_in_one_line(cli: Callable[..., Result]) -> None:
    result = cli("probe", "TCPIP::127.0.0.1::9::SOCKET")
    assert result.exit_code == 4
    assert len(result.stderr.strip().splitlines()) == 1
