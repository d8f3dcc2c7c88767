"""Whether a restructuring leaves outcomes as they were: the same drawn inputs through two source trees.

    python -m benchmarks.same_outcomes --before PATH_TO_SRC --after PATH_TO_SRC
        [--jobs 200] [--folders 30] [--seed 1] [--workers 2] [--static] [--list] [--shown 12] [--keep FOLDER]

Each tree runs in processes of its own, with this interpreter and the tree's path first. Compared are `check
--json` and `rehearse --json` of documents that are drawn from the seed (of some also with `--static`,
`--case`, `--faults` or `--cases`), and `evaluate --json` of stored runs, which the tree before plays once, on
simulated supplies in virtual time. Sentences are left out by their field (`comparing.TEXT`, shown by --list):
of them only whether they are empty, or how many, is compared. All else is compared exactly: ids, severities,
figures to their last digit, locations, outcomes, exit codes, keys, order; of a refusal file:line:column.

A difference prints the job, the place in the JSON, before and after; "-" is what one side has not. Then each
kind of difference is counted, coverage follows, and the last line counts all. The exit code is 1 where there
is a difference or nothing was compared. `--static` leaves out all that needs a rehearsal or a run: a quick
look. `tree.PLACES` lists what is used of a tree by name; the command line is used as `python -m railwright`.

That it can fail is seen with a copy in which one constant is changed, and nothing else:

    cp -r src changed
    sed -i 's/^CURRENT_BAND = 0.10/CURRENT_BAND = 0.05/' changed/railwright/measures/start_up_time.py
    python -m benchmarks.same_outcomes --before src --after changed --static --jobs 3

must end with differences; with the text of a sentence changed in the copy, it must not.
tests/test_same_outcomes.py does both. A threshold that is moved a little is seen only where a job lies
between the old and the new one: more jobs, or another seed, have more of them. With the same tree twice it
shows that a tree comes to the same outcomes every time.
"""

from __future__ import annotations

import argparse
import shutil
import sys
import tempfile
import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from benchmarks.same_outcomes.comparing import TEXT, Outcome, differences, outcome_of
from benchmarks.same_outcomes.coverage import Coverage
from benchmarks.same_outcomes.drawing import EXAMPLES, Job, draw
from benchmarks.same_outcomes.runs import Run, draw_runs
from benchmarks.same_outcomes.trees import ROOT, Answer, Request, Tree

WARM = "warm"
"""Folder of the example with which a worker warms up."""


@dataclass(frozen=True)
class Command:
    """One command whose outcome is compared: the job it belongs to, in words, and its arguments."""

    job: str
    arguments: tuple[str, ...]

    @property
    def request(self) -> Request:
        return {"do": "command", "arguments": list(self.arguments)}

    @property
    def words(self) -> str:
        """`017 check`, with the options that make it another."""
        extra = [each for each in self.arguments[2:] if each != "--json"]
        return " ".join([self.job, self.arguments[0], *extra])


def main() -> int:
    """Draw, run, compare, print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--before", type=Path, default=ROOT / "src")
    parser.add_argument("--after", type=Path, default=ROOT / "src")
    parser.add_argument("--jobs", type=int, default=200)
    parser.add_argument("--folders", type=int, default=30)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--workers", type=int, default=2, help="of both trees together, at least one each")
    parser.add_argument("--static", action="store_true", help="only what needs no rehearsal and no run")
    parser.add_argument("--list", action="store_true", help="show the jobs and what counts as text; run none")
    parser.add_argument("--shown", type=int, default=12, help="differences of a kind that are shown in full")
    parser.add_argument("--keep", type=Path, help="a new folder in which documents and runs stay")
    given = parser.parse_args()
    jobs = [draw(given.seed, number) for number in range(given.jobs)]
    runs = [] if given.static else list(draw_runs(given.seed, given.folders))
    if given.list:
        print("\n".join(listed(jobs, runs)))
        return 0
    begin = time.monotonic()
    with place(given.keep) as folder:
        found, compared = compare(given, folder, jobs, runs)
    counts = f"{len(jobs)} jobs and {len(runs)} stored runs compared, {compared} commands"
    print(f"took {time.monotonic() - begin:.0f} s")
    print(f"{counts}: {found} differences")
    return 1 if found or not compared else 0


@contextmanager
def place(keep: Path | None) -> Iterator[Path]:
    """The folder of both trees' working directories."""
    if keep is not None:
        if keep.exists():
            sys.exit(f"{keep}: expected a folder that is not there yet; name another")
        keep.mkdir(parents=True)
        yield keep.resolve()
        return
    with tempfile.TemporaryDirectory(prefix="so-", ignore_cleanup_errors=True) as folder:
        yield Path(folder)


def listed(jobs: Sequence[Job], runs: Sequence[Run]) -> Iterator[str]:
    """What there is to compare, in words."""
    for job in jobs:
        options = [" ".join((each[0], *each[2:-1])) for each in job.commands]
        yield f"{job.name}: {job.title}: {'; '.join(options)}"
    for run in runs:
        yield f"{run.name}: {run.kind}"
    for field, where in TEXT.items():
        yield f"text: {field} ({where})"


def compare(
    given: argparse.Namespace, folder: Path, jobs: Sequence[Job], runs: Sequence[Run]
) -> tuple[int, int]:
    """Play everything through both trees, print differences and coverage; how many, of how many commands."""
    coverage = Coverage()
    for files in [each.files for each in jobs] + [each.files for each in runs]:
        coverage.add_documents(files)
    trees = [
        lay_out(given, folder / name, source, jobs)
        for name, source in (("b", given.before), ("a", given.after))
    ]
    try:
        known = outcome_of(trees[0].ask({"do": "vocabulary"})).data
        store(trees, runs)
        commands = commands_of(jobs, runs, given.static)
        results = both(trees, commands)
    finally:
        for tree in trees:
            tree.close()
    found, kinds = 0, dict[str, list[str]]()
    for command, before, after in zip(commands, *results, strict=True):
        coverage.add_outcome(before)
        differing = list(differences(before, after))
        found += len(differing)
        for each in differing:
            seen = kinds.setdefault(each.kind, [])
            seen.append(command.words)
            if len(seen) <= given.shown:
                print(f"{command.words}: {each.path}: {each.before} -> {each.after}")
    for kind, seen in sorted(kinds.items(), key=lambda pair: -len(pair[1])):
        print(f"{len(seen)} in {len(set(seen))} commands: {kind}")
    print("\n".join(coverage.lines(known or {})))
    return found, len(commands)


def lay_out(given: argparse.Namespace, folder: Path, source: Path, jobs: Sequence[Job]) -> Tree:
    """A tree with the jobs' documents in its working directory; both have the same names."""
    for job in jobs:
        write(folder / job.name, job.files)
    write(folder / WARM, {path.name: path.read_bytes() for path in (EXAMPLES / "tide-gauge").glob("*.yaml")})
    procedure = f"{WARM}/power-input.procedure.yaml"
    warm: list[tuple[str, ...]]
    if given.static:
        warm = [("check", procedure, "--static", "--json")]
    else:
        warm = [("check", procedure, "--json"), ("rehearse", procedure, "--json")]
    return Tree(source, folder, max(1, given.workers // 2), warm)


def write(folder: Path, files: dict[str, bytes]) -> None:
    """Files into a new folder."""
    folder.mkdir(parents=True)
    for name, content in files.items():
        (folder / name).write_bytes(content)


def store(trees: Sequence[Tree], runs: Sequence[Run]) -> None:
    """Have the tree before play the runs, and give the tree after a copy of each."""
    first, second = trees
    for run in runs:
        write(first.folder / run.name, run.files)

    def told(number: int, answer: Answer) -> None:
        run = runs[number]
        if answer["code"]:
            sys.exit(f"{run.name} ({run.kind}) could not be played:\n{answer['err']}")
        print(f"{run.name} ({run.kind}): {answer['out'].strip()}", flush=True)
        if run.spoil is not None:
            run.spoil(first.folder / run.request["folder"])

    first.ask_all([run.request for run in runs], told)
    for run in runs:
        # Of each evaluation its own folder: an evaluation is kept in it.
        for folder in run.folders:
            shutil.copytree(first.folder / run.request["folder"], first.folder / folder)
        shutil.copytree(first.folder / run.name, second.folder / run.name)


def commands_of(jobs: Sequence[Job], runs: Sequence[Run], static: bool) -> list[Command]:
    """Every command that is compared, the jobs' first."""
    if static:
        return [Command(job.name, ("check", job.commands[0][1], "--static", "--json")) for job in jobs]
    commands = [Command(job.name, arguments) for job in jobs for arguments in job.commands]
    return commands + [Command(run.name, arguments) for run in runs for arguments in run.evaluations]


def both(trees: Sequence[Tree], commands: Sequence[Command]) -> list[list[Outcome]]:
    """The outcome of every command in each tree; both trees work at the same time."""
    results: list[list[Outcome | None]] = [[None] * len(commands) for _ in trees]
    errors: list[BaseException] = []

    def work(tree: Tree, kept: list[Outcome | None]) -> None:
        def told(number: int, answer: Answer) -> None:
            kept[number] = outcome_of(answer)
            done = sum(each is not None for each in kept)
            if tree is trees[0] and sys.stderr.isatty():
                print(f"\r{done} of {len(commands)}", end="", file=sys.stderr, flush=True)

        try:
            tree.ask_all([command.request for command in commands], told)
        except BaseException as error:  # noqa: BLE001 - raised again below
            errors.append(error)

    threads = [threading.Thread(target=work, args=pair) for pair in zip(trees, results, strict=True)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    if errors:
        raise errors[0]
    return [[each for each in kept if each is not None] for kept in results]


if __name__ == "__main__":
    sys.exit(main())
