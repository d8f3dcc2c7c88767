"""`railwright off` at work, without the libraries of the other commands: its help stands in `cli/off.py`."""

from __future__ import annotations

import asyncio
import signal
import sys
from collections.abc import Callable, Sequence
from contextlib import suppress

from railwright.cli.exits import BadInput, Exit
from railwright.cli.writer import Writer, gap_line
from railwright.guard.locks import runtime_folder
from railwright.printable import printable
from railwright.regular import Unfit, size_of
from railwright.running.off_bench import BenchSupply, read_bench
from railwright.running.off_now import OffNow

LARGEST = 5_000_000
"""Bytes that a bench document may have."""


def off_now(bench: str, outputs: Sequence[str]) -> Exit:
    """Switch off outputs of a bench, all where none is named, and say what they were read to be.

    Raises BadInput where the document gives no supplies, or has none of that name.
    """
    supplies = _read(bench)
    names = _chosen(supplies, outputs) if outputs else None
    out = sys.stdout
    writer = Writer((out,), lambda count: out.write(gap_line(count) + "\n"))
    asked = 0

    async def go() -> bool:
        nonlocal asked
        job = OffNow(supplies, names, runtime_folder(), lambda line: _put(writer, line))
        loop = asyncio.get_running_loop()

        def hurry() -> None:
            nonlocal asked
            asked += 1
            job.hurry()

        for name in (signal.SIGINT, signal.SIGTERM):
            loop.add_signal_handler(name, hurry)
        # A terminal that is closed is no reason to leave anything on.
        with suppress(ValueError):
            signal.signal(signal.SIGHUP, signal.SIG_IGN)
        return await job.go()

    try:
        confirmed = asyncio.run(go())
    finally:
        before = asked
        _finish(writer, lambda: asked > before)
    return Exit.DONE if confirmed else Exit.OFF_NOT_CONFIRMED


def _put(writer: Writer, line: str) -> None:
    writer.put(sys.stdout.write, printable(line, one_line=True) + "\n")


def _finish(writer: Writer, given_up: Callable[[], bool]) -> None:
    """Wait for whoever reads what was said; Ctrl-C ends that."""
    try:
        writer.finish(given_up)
    except KeyboardInterrupt:
        writer.finish(lambda: True)


def _read(bench: str) -> tuple[BenchSupply, ...]:
    try:
        size_of(bench, LARGEST)
        with open(bench, "rb") as file:
            raw = file.read(LARGEST)
    except Unfit as error:
        raise BadInput(f"{bench}:1:1: expected a bench document, got {error}") from None
    except (OSError, ValueError) as error:
        why = error.strerror if isinstance(error, OSError) else "a path that no file can have"
        raise BadInput(f"{bench}:1:1: expected a bench document, got {why}; correct the path") from None
    # What stands in a wrong encoding is not needed here, as long as the addresses can be read.
    utf16 = raw.startswith((b"\xff\xfe", b"\xfe\xff"))
    try:
        return read_bench(raw.decode("utf-16" if utf16 else "utf-8-sig", "replace"))
    except ValueError as error:
        raise BadInput(f"{bench}:1:1: {error}") from None


def _chosen(supplies: Sequence[BenchSupply], given: Sequence[str]) -> frozenset[str]:
    """The outputs that are named: one by one, or by their supply."""
    there = {each.name: [output.name for output in each.outputs] for each in supplies}
    everything = [name for names in there.values() for name in names]
    chosen: list[str] = []
    for name in given:
        if name in there:
            chosen += there[name]
        elif name in everything:
            chosen.append(name)
        else:
            known = ", ".join([*there, *everything])
            raise BadInput(f"expected a supply or an output of the bench ({known}), got '{name}'")
    return frozenset(chosen)
