"""Documents with damage in them: loaded, settled and told as by `check --static`, some rehearsed too."""

from __future__ import annotations

import contextlib
import io
import random
import shutil
import tempfile
from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path

from benchmarks.fuzzing.damage import damaged_document, other_figure
from benchmarks.fuzzing.trial import Findings, steers

from railwright.cli.check import check
from railwright.cli.exits import code_of
from railwright.examples import example

EXAMPLE = example()
REHEARSED_EVERY = 100
"""Documents of which one is rehearsed too."""


class Refused(Exception):
    """An error that is a document's, in its lines."""


def run(
    seed: int, count: int, folders: Sequence[Path] = (EXAMPLE,), rehearsed_every: int = REHEARSED_EVERY
) -> Findings:
    """So many documents, with a few places damaged. folders: of good ones, with their procedures."""
    findings = Findings("documents", allowed=(Refused,), limit=20.0)
    dice = random.Random(f"documents {seed}")
    with tempfile.TemporaryDirectory() as name:
        procedures = []
        for number, folder in enumerate(folders):
            shutil.copytree(folder, here := Path(name) / str(number))
            procedures += [p for p in sorted(here.rglob("*.yaml")) if _is_procedure(p)]
        for number in range(count):
            procedure = dice.choice(procedures)
            victim = dice.choice(
                [p for p in sorted(procedure.parent.glob("*.yaml")) if _belongs(p, procedure)]
            )
            good = victim.read_bytes()
            text = good.decode()
            if dice.random() < 0.6:  # other figures alone: what loads is what reaches the rules
                for _ in range(dice.choice((1, 1, 2))):
                    text = other_figure(dice, text)
            else:
                for _ in range(dice.choice((1, 1, 1, 2, 3, 8))):
                    text = damaged_document(dice, text)
            victim.write_bytes(text.encode("utf-8", "surrogatepass"))
            rehearsed = rehearsed_every > 0 and number % rehearsed_every == 0
            shown = partial(_difference, good.decode(), text)
            findings.attempt(_checking(procedure, rehearsed), shown)
            victim.write_bytes(good)
    return findings


def _checking(procedure: Path, rehearsed: bool) -> Callable[[], None]:
    def checking() -> None:
        out = io.StringIO()
        try:
            with contextlib.redirect_stdout(out):
                check(procedure, static=not rehearsed)
                check(procedure, static=True, json=True)
        except Exception as error:
            known = code_of(error)
            if known is None:
                raise
            raise Refused(known[1]) from None
        raise_for_controls(out.getvalue())

    return checking


def raise_for_controls(text: str) -> None:
    """AssertionError where a text that was printed would steer a terminal."""
    if steering := steers(text):
        line = next(line for line in text.split("\n") if steering in line)
        raise AssertionError(f"prints {steering!r}: {line[:100]!r}")


def _is_procedure(path: Path) -> bool:
    return any(line.startswith("procedure:") for line in path.read_text("utf-8").splitlines())


def _belongs(path: Path, procedure: Path) -> bool:
    """Whether a document is the procedure or one that it names."""
    return path == procedure or path.name in procedure.read_text("utf-8")


def _difference(good: str, text: str) -> str:
    """The first lines that differ."""
    before = set(good.split("\n"))
    changed = [line for line in text.split("\n") if line not in before]
    return (
        repr([line[:160] for line in changed[:6]])
        if changed
        else f"lines left out: {len(good) - len(text)} letters"
    )
