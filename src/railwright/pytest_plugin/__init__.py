"""The pytest plugin: procedures are collected as tests, and a fixture gives a test an energised input.

Loaded at every start of pytest where Railwright is installed: until a procedure is met, or the fixture asked
for, it imports nothing beside pytest and the standard library.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractContextManager
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from railwright.pytest_plugin.session import BENCH, RUNS, bench_of

if TYPE_CHECKING:
    import os

    from railwright.job import Energised

ENDING = ".procedure.yaml"
"""How the files that are collected are called."""


def pytest_addoption(parser: pytest.Parser) -> None:
    """Options, of which the first two stand together."""
    group = parser.getgroup("railwright", "tests of d.c. power inputs")
    group.addoption(
        "--bench",
        metavar="FILE",
        help="bench document: with --energise, procedures that name it are run on its supplies; all others, "
        "and all without it, on simulated ones",
    )
    group.addoption(
        "--energise",
        action="store_true",
        help="with --bench: switch the outputs of that bench on; counts on the command line alone",
    )
    group.addoption(
        "--bench-unit", metavar="SERIAL", help="with --bench: serial number of the unit that is connected"
    )
    group.addoption("--bench-operator", metavar="NAME", help="with --bench: who is at the bench")


@pytest.hookimpl(trylast=True)  # what makes workers has its own options read by then
def pytest_configure(config: pytest.Config) -> None:
    """Nothing is energised but by a bench that is kept here."""
    if config.getoption("energise") or config.getoption("bench") is not None:
        config.stash[BENCH] = bench_of(config)


def pytest_report_header(config: pytest.Config) -> str | None:
    """A line where a bench may be energised."""
    bench = config.stash.get(BENCH, None)
    if bench is None:
        return None
    return f"bench: {bench.document}, unit {bench.unit}, energised by {bench.operator}"


def pytest_collect_file(file_path: Path, parent: pytest.Collector) -> pytest.Collector | None:
    """A procedure is a file of tests."""
    if not file_path.name.endswith(ENDING) or _of_a_run(file_path):
        return None
    from railwright.pytest_plugin.items import ProcedureFile

    collector: pytest.Collector = ProcedureFile.from_parent(parent, path=file_path)
    return collector


def _of_a_run(path: Path) -> bool:
    """Whether a file is a copy in a run's folder, which says what was played then."""
    from railwright.records.names import DOCUMENTS, RUN

    return any(each.name == DOCUMENTS and (each.parent / RUN).is_file() for each in path.parents)


@pytest.fixture
def energised(
    request: pytest.FixtureRequest,
) -> Callable[[str | os.PathLike[str]], AbstractContextManager[Energised]]:
    """Inputs that are energised and guarded while a block lasts.

        with energised("power.procedure.yaml") as power:
            assert power["main"].voltage > 11.5

    The procedure is run, and recorded; the block goes on where it waits for a key, and its end is the key.
    How each requirement comes out is attached to the test, which fails where one does not pass. On simulated
    supplies, unless the command line has --bench and --energise.
    """
    from railwright.pytest_plugin.powered import powered

    return lambda procedure: powered(request.node, procedure)


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter, config: pytest.Config) -> None:
    """How each run on a bench ended, and where its record lies."""
    if lines := config.stash.get(RUNS, []):
        terminalreporter.section("runs on the bench")
        for line in lines:
            terminalreporter.write_line(line)
