"""The files of a run's folder are named in one place."""

from __future__ import annotations

import ast
import re
from pathlib import Path

from railwright.records import names

SOURCE = Path(names.__file__).parents[1]
NAMED = {value for key, value in vars(names).items() if key.isupper() and isinstance(value, str)}
FILES = sorted(name for name in NAMED if "." in name.lstrip("."))
"""A folder's name, such as 'documents' or 'report', is a word as well."""


def literals(path: Path) -> list[tuple[int, str]]:
    """Texts of a module that are no docstrings, with their lines."""
    tree = ast.parse(path.read_text("utf-8"))
    said = {
        id(node.value)
        for node in ast.walk(tree)
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)
    }
    return [
        (node.lineno, node.value)
        for node in ast.walk(tree)
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in said
    ]


def test_no_other_module_writes_such_a_name() -> None:
    pattern = re.compile("|".join(re.escape(name) for name in FILES) + r"|record-")
    found = [
        f"{path.relative_to(SOURCE)}:{line}: {text!r}"
        for path in sorted(SOURCE.rglob("*.py"))
        if path != Path(names.__file__)
        for line, text in literals(path)
        if pattern.search(text)
    ]
    assert found == []
    assert len(FILES) >= 8


def test_names_are_as_earlier_versions_wrote_them() -> None:
    folder = Path("run")
    assert names.readings_file(folder, "main") == folder / "record-main.parquet"
    assert names.evaluation_name(1) == "evaluations/01.json"
    assert names.evaluation_name(100) == "evaluations/100.json"
    assert names.recording_name(2, "transient-recorder", ".csv") == "recordings/02-transient-recorder.csv"
    assert names.figure_name(3, "first-power") == "figures/03-first-power.svg"
    assert (names.RUN, names.SETTINGS, names.EVENTS) == ("run.json", "settings.json", "events.json")
    assert (names.LOG, names.GUARD_LOG, names.MANIFEST) == ("log.ndjson", "guard.ndjson", "manifest.json")


def test_evaluations_come_in_their_order(tmp_path: Path) -> None:
    (tmp_path / names.EVALUATIONS).mkdir()
    for name in ("02.json", "01.json", "10.json", "notes.json"):
        (tmp_path / names.EVALUATIONS / name).write_text("{}")
    assert [path.name for path in names.evaluation_files(tmp_path)] == ["01.json", "02.json", "10.json"]
