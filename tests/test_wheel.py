"""A wheel without the repository: what the package reads beside its code is in it, the example is found."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest

from railwright.examples import example, examples

ROOT = Path(__file__).parents[1]
DEPENDENCIES = [path for path in sys.path if path and not (Path(path) / "railwright").is_dir()]
PROCEDURE = "power-input.procedure.yaml"

Run = Callable[..., str]


def called(*command: str | Path, cwd: Path, path: list[str]) -> str:
    """Standard output of Python with these arguments, these folders searched before its own."""
    done = subprocess.run(
        [sys.executable, *map(str, command)],
        cwd=cwd,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(path), "PIP_DISABLE_PIP_VERSION_CHECK": "1"},
        capture_output=True,
        text=True,
        check=False,
        timeout=300,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Built from a copy, so that nothing is left beside the sources; without the network."""
    folder = tmp_path_factory.mktemp("wheel")
    copy = folder / "copy"
    ignored = shutil.ignore_patterns("__pycache__", "*.egg-info")
    shutil.copytree(ROOT / "src", copy / "src", ignore=ignored)
    for name in ("pyproject.toml", "README.md", "LICENSE"):
        shutil.copy(ROOT / name, copy)
    options = ("--no-deps", "--no-index", "--no-build-isolation", "--quiet")
    called("-m", "pip", "wheel", *options, "--wheel-dir", folder, copy, cwd=folder, path=DEPENDENCIES)
    (made,) = folder.glob("*.whl")
    return made


@pytest.fixture(scope="module")
def installed(wheel: Path) -> Path:
    """The folder into which the wheel was installed."""
    target = wheel.parent / "installed"
    options = ("--no-deps", "--no-index", "--quiet", "--target", target)
    called("-m", "pip", "install", *options, wheel, cwd=wheel.parent, path=DEPENDENCIES)
    return target


@pytest.fixture
def run(installed: Path, tmp_path: Path) -> Run:
    """Call Python with the installed package, in a folder of its own."""
    return lambda *command: called(*command, cwd=tmp_path, path=[str(installed), *DEPENDENCIES])


def test_everything_that_lies_in_the_package_is_in_the_wheel(wheel: Path) -> None:
    package = ROOT / "src" / "railwright"
    left_out = {".pyc", ".nbi", ".nbc"}
    there = {path for path in package.rglob("*") if path.is_file() and path.suffix not in left_out}
    inside = zipfile.ZipFile(wheel).namelist()
    shipped = {name for name in inside if name.startswith("railwright/")}
    assert shipped == {path.relative_to(package.parent).as_posix() for path in there}
    outside = {name.split("/")[0] for name in inside} - {"railwright"}
    assert len(outside) == 1, "and nothing beside the package but what describes it"


def test_the_example_is_found_in_the_installation(run: Run, installed: Path) -> None:
    code = "from railwright.examples import example; print(example())"
    there = Path(run("-c", code).strip())
    assert there.is_relative_to(installed)
    assert {path.name: path.read_bytes() for path in there.iterdir()} == {
        path.name: path.read_bytes() for path in example().iterdir()
    }
    checked = run("-m", "railwright", "check", "--static", there / PROCEDURE)
    assert "0 stops" in checked


def test_the_installation_writes_the_example_and_documents_to_start_from(run: Run, tmp_path: Path) -> None:
    run("-m", "railwright", "new", "--example", "tide-gauge", "example")
    assert "0 stops" in run("-m", "railwright", "check", "--static", tmp_path / "example" / PROCEDURE)
    run("-m", "railwright", "new", "mine")
    assert "0 stops" in run("-m", "railwright", "check", "--static", tmp_path / "mine" / "my.procedure.yaml")


def test_pytest_finds_the_plugin_and_can_leave_it_out(run: Run) -> None:
    """By its name, without a `-p`; a project that leaves it out has neither its options nor its fixture."""
    assert "--energise" in run("-m", "pytest", "--help")
    assert "--energise" not in run("-m", "pytest", "--help", "-p", "no:railwright")


def test_every_example_can_be_named() -> None:
    assert examples() == ["buffer-cell", "tide-gauge"]
    assert {path.name for path in example("tide-gauge").glob("*.*.yaml")} == {
        "power-input.procedure.yaml",
        "quay.bench.yaml",
        "tide-gauge.device.yaml",
    }
