"""`railwright power` and `railwright output --on --for` ended at drawn instants, in real time.

    python -m benchmarks.hand_kills [--each N] [--seed N] [--minutes M]

Either runs behind a pseudo-terminal, on twins that live in processes of the benchmark's own, and is led: in
`power` another level is asked for, off, on again. At an instant that is drawn, before its output goes on or
in the two seconds after that, it gets Ctrl-C, its terminal is closed, or `kill -9` ends it: N times each.

The last line is how many ended as they should: nothing on by the twins' physics 2 s after it, and no output
on again; after Ctrl-C and a closed terminal exit code 3, or 0 where it was over already, or that of the
signal before the run itself.
"""

from __future__ import annotations

import argparse
import os
import random
import shutil
import signal
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Sequence
from pathlib import Path

from benchmarks.pseudo_terminal import PseudoTerminal

from railwright.documents.loader import load_documents
from railwright.examples import example
from railwright.twin.launcher import TwinBench

OFF_WITHIN = 2.0
"""How long an output may stay on after the end [s]."""

OUTPUT = "left.1"
COMMANDS = ("power", "output")
ENDINGS = ("Ctrl-C", "terminal closed", "kill -9")
BEFORE, AFTER = 3.0, 2.0
"""How long after its beginning, or after its output went on, it is ended at most [s]."""


class Place:
    """The example's documents in a folder, with the addresses of twins that stand ready."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        for path in example().glob("*.yaml"):
            shutil.copyfile(path, folder / path.name)
        documents = load_documents(folder / "power-input.procedure.yaml")
        bench = documents.bench, documents.device, documents.procedure
        self.twins = TwinBench(*bench, ports="free")

    def begin(self) -> None:
        self.twins.__enter__()
        path = self.folder / "quay.bench.yaml"
        text = path.read_text("utf-8")
        for port, name in ((5025, "left"), (5026, "right")):
            address = self.twins.bench.supplies[name].address
            text = text.replace(f"TCPIP::127.0.0.1::{port}::SOCKET", address)
        path.write_text(text, "utf-8")

    def spans(self) -> tuple[tuple[float, float | None], ...]:
        return self.twins.energised()[OUTPUT]


def started(place: Place, command: str) -> PseudoTerminal:
    """The command, as far as its output being asked on."""
    if command == "output":
        given = ("--set", "12 V", "--limit", "1 A", "--bears", "20 V", "--on", "--for", "5 s")
        return PseudoTerminal(place.folder, "output", "quay.bench.yaml", OUTPUT, *given)
    documents = ("tide-gauge.device.yaml", "quay.bench.yaml", "main")
    chosen = ("--operator", "B", "--hook-up", "power-input.procedure.yaml", "--at-most", "8 s")
    return PseudoTerminal(place.folder, "power", *documents, *chosen)


def play(place: Place, command: str, ending: str, source: random.Random) -> tuple[str, float | None]:
    """One ending: what is wrong ('' for nothing), and how long the output was on after it [s]; None: it was
    not on.
    """
    had = len(place.spans())
    terminal = started(place, command)
    after = source.random() < 0.7
    if command == "power" and terminal.until("Type yes"):
        terminal.type("yes\n")
    if after:
        sign = "main: on" if command == "power" else "load: on"
        if not terminal.until(sign):
            return f"its output did not go on: {terminal.shown[-300:]!r}", None
        # Led while it is on, so that an ending falls between keys, too.
        for keys in ("v9\ry", " ", "iy") if command == "power" else ():
            terminal.until("", source.uniform(0.0, AFTER / 3))
            terminal.type(keys)
        terminal.until("", source.uniform(0.0, AFTER / 3))
    else:
        terminal.until("", source.uniform(0.0, BEFORE))
    ended = time.monotonic()
    if ending == "Ctrl-C":
        terminal.type("\x03")
    elif ending == "terminal closed":
        terminal.close()
    else:
        os.kill(terminal.child, signal.SIGKILL)
    wrong = []
    code = terminal.code()
    # Before the run itself, signals do what they do to any program.
    usual = {"Ctrl-C": (-signal.SIGINT, 130), "terminal closed": (-signal.SIGHUP,), "kill -9": ()}
    allowed = (-signal.SIGKILL, 0) if ending == "kill -9" else (3, 0, *usual[ending])
    if code not in allowed:
        wrong.append(f"exit code {code}: {terminal.shown[-300:]!r}")
    time.sleep(max(0.0, ended + OFF_WITHIN - time.monotonic()))
    own = place.spans()[had:]
    if any(end is None for _, end in own):
        wrong.append(f"still on {time.monotonic() - ended:.2f} s after it")
    lasts = [end - ended for _, end in own if end is not None]
    longest = max((each for each in lasts if each > 0.0), default=None)
    if longest is not None and longest > OFF_WITHIN:
        wrong.append(f"off {longest:.2f} s after it")
    if any(begin > ended + OFF_WITHIN for begin, _ in own):
        wrong.append("it went on after it")
    while any(end is None for _, end in place.spans()):
        time.sleep(0.1)
    return "; ".join(wrong), longest


def main(given: Sequence[str] | None = None) -> int:
    parser = argparse.ArgumentParser(prog="benchmarks.hand_kills")
    parser.add_argument("--each", type=int, default=50, help="endings of each kind of each command")
    parser.add_argument("--seed", type=int, default=1, help="of the drawn instants")
    parser.add_argument("--minutes", type=float, default=60.0, help="after which no more are begun")
    options = parser.parse_args(given)
    source = random.Random(options.seed)
    cells = [(command, ending) for command in COMMANDS for ending in ENDINGS] * options.each
    source.shuffle(cells)
    begun, played, failed = time.monotonic(), Counter[tuple[str, str]](), []
    slowest: dict[tuple[str, str], float] = {}
    on = Counter[tuple[str, str]]()
    with tempfile.TemporaryDirectory() as folder:
        place = Place(Path(folder))
        place.begin()
        try:
            for command, ending in cells:
                cell = command, ending
                if time.monotonic() - begun > 60.0 * options.minutes:
                    break
                wrong, longest = play(place, command, ending, source)
                played[cell] += 1
                if longest is not None:
                    on[cell] += 1
                    slowest[cell] = max(slowest.get(cell, 0.0), longest)
                if wrong:
                    failed.append(cell)
                    print(f"{', '.join(cell)}: {wrong}", flush=True)
        finally:
            place.twins.__exit__(None, None, None)
    for cell, count in sorted(played.items()):
        told = f"{slowest[cell]:.2f} s" if cell in slowest else "-"
        print(f"{', '.join(cell)}: {count} played, {on[cell]} while it was on, off after {told} at most")
    print(f"{sum(played.values()) - len(failed)} of {sum(played.values())} ended as they should")
    return bool(failed)


if __name__ == "__main__":
    sys.exit(main())
