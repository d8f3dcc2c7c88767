"""Where compiled code is kept: in a folder that is asked for, else in the user's, else in a temporary one."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import platformdirs
import pytest

from railwright.compilation import INTEGER, compile_kept
from railwright.compiled_cache import announce, cache_folder, can_keep


@pytest.fixture(autouse=True)
def _nothing_asked_for(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("RAILWRIGHT_CACHE", raising=False)


def test_a_folder_that_is_asked_for_is_taken(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("RAILWRIGHT_CACHE", str(tmp_path / "asked"))
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "xdg"))
    assert cache_folder() == tmp_path / "asked"


def test_otherwise_it_is_the_cache_folder_of_the_user(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "xdg"))
    assert cache_folder() == tmp_path / "xdg" / "railwright"
    monkeypatch.delenv("XDG_CACHE_HOME")
    monkeypatch.setenv("HOME", str(tmp_path / "home"))
    assert cache_folder() == tmp_path / "home" / ".cache" / "railwright"


def test_it_is_the_folder_that_platformdirs_names(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(platformdirs, "user_cache_path", lambda name, **_: Path("/of the platform") / name)
    assert cache_folder() == Path("/of the platform/railwright")


def kept(folder: Path) -> list[Path]:
    return sorted(path.relative_to(folder) for path in folder.rglob("*.nbi"))


def test_what_is_compiled_lies_there_under_its_name_and_the_hash_of_its_sources(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("RAILWRIGHT_CACHE", str(tmp_path))
    source = tmp_path / "source.txt"
    for text in ("one", "two", "two"):
        source.write_text(text, "utf-8")
        assert compile_kept(doubled, [INTEGER], "of-a-test", [source])(21) == 42
    found = kept(tmp_path)
    assert len(found) == 2, "a source that changed has a folder of its own, one that did not has the same"
    assert {path.parts[0] for path in found} == {"of-a-test"}
    assert {len(path.parts[1]) for path in found} == {16}


def doubled(number: int) -> int:
    return 2 * number


def test_where_no_folder_can_be_made_the_code_goes_into_a_temporary_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "file").write_text("", "utf-8")
    monkeypatch.setenv("RAILWRIGHT_CACHE", str(tmp_path / "file"))
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    assert compile_kept(doubled, [INTEGER], "of-a-test", [])(4) == 8
    assert len(kept(tmp_path)) == 1
    assert kept(tmp_path)[0].parts[0].startswith("railwright-")


def test_nothing_that_is_short_waits_for_platformdirs() -> None:
    code = "import sys, railwright.compiled_cache, railwright.cli.app; print('platformdirs' in sys.modules)"
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
    done = subprocess.run(
        [sys.executable, "-c", code], env=environment, capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == "False"


@pytest.fixture
def heard() -> Iterator[list[str]]:
    """What a person is told about compilation."""
    lines: list[str] = []
    announce(lines.append)
    yield lines
    announce(None)


def test_compilation_that_takes_long_is_announced_once_and_never_for_what_is_kept(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, heard: list[str]
) -> None:
    monkeypatch.setenv("RAILWRIGHT_CACHE", str(tmp_path))
    source = tmp_path / "source.txt"
    source.write_text("one", "utf-8")
    first = compile_kept(doubled, [INTEGER], "of-a-test", [source], seconds=20.0)
    assert heard == [], "nothing is compiled before it is called"
    assert first(21) == first(4) + 34 == 42
    assert heard == ["compiling once, about 20 s"]
    again = compile_kept(doubled, [INTEGER], "of-a-test", [source], seconds=20.0)
    assert again(3) == 6
    assert len(heard) == 1, "this one comes from the cache"
    source.write_text("other", "utf-8")
    assert compile_kept(doubled, [INTEGER], "of-a-test", [source], seconds=3.0)(3) == 6
    assert heard[1:] == ["compiling once, about 3 s"], "its sources have changed"


def test_short_compilations_are_not_announced_nor_is_any_to_nobody(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, heard: list[str]
) -> None:
    monkeypatch.setenv("RAILWRIGHT_CACHE", str(tmp_path))
    assert compile_kept(tripled, [INTEGER], "of-a-test", [])(2) == 6
    announce(None)
    assert compile_kept(doubled, [INTEGER], "of-a-test", [], seconds=20.0)(2) == 4
    assert heard == []


def tripled(number: int) -> int:
    return 3 * number


def test_whether_a_folder_can_be_kept_in(tmp_path: Path) -> None:
    assert can_keep(tmp_path / "new" / "one")
    (tmp_path / "file").write_text("", "utf-8")
    assert not can_keep(tmp_path / "file" / "below")
