"""`railwright off` at work, without the libraries of the other commands: its help stands in `cli/off.py`.

Guards are asked first. What switches off without them is imported while they have time to answer, and what
prints when there is something to print.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING

from railwright.guard.locks import runtime_folder
from railwright.regular import Unfit, size_of
from railwright.running.off_ask import ask_guards
from railwright.running.off_bench import BenchSupply, concerns, read_bench, read_relays

if TYPE_CHECKING:
    from railwright.cli.exits import Exit
    from railwright.cli.writer import PrintThread
    from railwright.guard.off_plan import RelaysOff

LARGEST = 5_000_000
"""Bytes that a bench document may have."""


def command(given: Sequence[str]) -> None:
    """The command with its arguments; it ends the program with its exit code."""
    result: Exit | BaseException
    try:
        result = off_now(given[0], given[1:])
    except (Exception, KeyboardInterrupt) as error:  # noqa: BLE001 - `guarded` makes lines and a code of it
        result = error
    from railwright.cli.exits import guarded

    def give() -> Exit:
        if isinstance(result, BaseException):
            raise result
        return result

    guarded(give)()


def off_now(bench: str, outputs: Sequence[str]) -> Exit:
    """Switch off outputs of a bench, all where none is named, and say what they were read to be.

    Raises BadInput where the document gives no supplies, or has none of that name.
    """
    supplies, relays = _read(bench)
    names = _chosen(supplies, outputs) if outputs else None
    concerned = [each for each in supplies if concerns(each, names)]
    try:
        folder = runtime_folder()
    except OSError:
        folder = Path("/")  # no run can have been here: there is nowhere to lie for a lock
    asked = ask_guards(concerned, folder)

    import asyncio
    import signal

    from railwright.running.off_now import OffNow

    sayer = Sayer()

    async def go() -> bool:
        job = OffNow(supplies, names, asked, folder, sayer.say, relays or ())
        for name in (signal.SIGINT, signal.SIGTERM):
            asyncio.get_running_loop().add_signal_handler(name, job.hurry)
        # A terminal that is closed is no reason to leave anything on.
        with suppress(ValueError):
            signal.signal(signal.SIGHUP, signal.SIG_IGN)
        confirmed = await job.go()
        if relays is None:
            sayer.say("contacts of relays: the bench document is broken where they stand; none was moved")
        return confirmed

    try:
        confirmed = asyncio.run(go())
    finally:
        sayer.finish()
    from railwright.cli.exits import Exit

    return Exit.DONE if confirmed else Exit.OFF_NOT_CONFIRMED


class Sayer:
    """Prints lines in a thread of its own, which holds up nobody."""

    def __init__(self) -> None:
        self._writer: PrintThread | None = None

    def say(self, line: str) -> None:
        from railwright.printable import printable

        self._ready().put(sys.stdout.write, printable(line, one_line=True) + "\n")

    def finish(self) -> None:
        """Wait for whoever reads it; Ctrl-C ends that."""
        if self._writer is not None:
            try:
                self._writer.finish(lambda: False)
            except KeyboardInterrupt:
                self._writer.finish(lambda: True)

    def _ready(self) -> PrintThread:
        if self._writer is None:
            from railwright.cli.streams import tolerate
            from railwright.cli.writer import PrintThread, gap_line

            tolerate()
            self._writer = PrintThread((sys.stdout,), lambda count: sys.stdout.write(gap_line(count) + "\n"))
        return self._writer


def _bad(line: str) -> Exception:
    from railwright.cli.exits import BadInput

    return BadInput(line)


def _read(bench: str) -> tuple[tuple[BenchSupply, ...], tuple[RelaysOff, ...] | None]:
    try:
        size_of(bench, LARGEST)
        with open(bench, "rb") as file:
            raw = file.read(LARGEST)
    except Unfit as error:
        raise _bad(f"{bench}:1:1: expected a bench document, got {error}") from None
    except (OSError, ValueError) as error:
        why = error.strerror if isinstance(error, OSError) else "a path that no file can have"
        raise _bad(f"{bench}:1:1: expected a bench document, got {why}; correct the path") from None
    # What stands in a wrong encoding is not needed here, as long as the addresses can be read.
    utf16 = raw.startswith((b"\xff\xfe", b"\xfe\xff"))
    text = raw.decode("utf-16" if utf16 else "utf-8-sig", "replace")
    try:
        supplies = read_bench(text, Path(bench).parent)
    except ValueError as error:
        raise _bad(f"{bench}:1:1: {error}") from None
    try:
        return supplies, read_relays(text)
    except Exception:  # noqa: BLE001 - whatever a broken document makes of its contacts holds up no OFF
        return supplies, None


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
            raise _bad(f"expected a supply or an output of the bench ({known}), got '{name}'")
    return frozenset(chosen)
