"""What happens to the terminal, the streams, the disk and the clock of a run, and how it may end then."""

from __future__ import annotations

import os
import signal
import subprocess
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path

from benchmarks.endings.lane import Lane, Story
from benchmarks.endings.outlets import Files, Outlet, Piped, Terminal

MOMENTS = (
    ("check", 1),
    ("preparation", 70),
    ("list load", 8),
    ("playing", 60),
    ("playing", 250),
    ("shut-down", 12),
)
"""Phase and message; the fifth is while the output plays its point list."""

DONE, REFUSED, STOPPED, NOT_CONFIRMED = 0, 2, 3, 6


@dataclass
class Setting:
    """What a run of a cell stands in. place: a folder for the run and what it prints."""

    lane: Lane
    place: Path
    folder: Path
    outlet: Outlet
    mounted: list[Path] = field(default_factory=list)

    def close(self) -> None:
        self.outlet.close()
        for path in self.mounted:
            subprocess.run(["umount", "-l", str(path)], check=False)


def to_null(setting: Setting) -> Outlet:
    out = str(setting.place / "out")
    return Files(out, out)


def on_terminal(_: Setting) -> Outlet:
    return Terminal()


Act = Callable[[Setting, Story], None]
"""Something that is done to a run."""


@dataclass(frozen=True)
class Cell:
    """One thing at one moment.

    codes: exit codes that it may end with. acts: (how long after the moment [s], what is done). off_within:
    how long after the moment outputs may be on [s]; None: the run goes on, and all is off at its end.
    obeys_modes, largest, step, encoding, options: of the command. size: of a file system of its own for the
    run [kB]. readable: whether its folder holds a record afterwards. says: to stand in what it prints.
    """

    group: str
    label: str
    phase: str
    number: int
    codes: tuple[int, ...]
    acts: tuple[tuple[float, Act], ...] = ()
    outlet: Callable[[Setting], Outlet] = to_null
    off_within: float | None = None
    options: tuple[str, ...] = ()
    encoding: str = "utf-8"
    step: float = 0.0
    largest: int = 0
    obeys_modes: bool = False
    size: int = 0
    readable: bool = True
    says: str = ""


def send(number: int) -> Act:
    """A signal to the run's process."""

    def act(_: Setting, story: Story) -> None:
        with suppress(ProcessLookupError):
            os.kill(story.pid, number)

    return act


def press(key: str) -> Act:
    def act(setting: Setting, _: Story) -> None:
        if isinstance(setting.outlet, Terminal):
            setting.outlet.type(key)

    return act


def hang_up(setting: Setting, _: Story) -> None:
    if isinstance(setting.outlet, Terminal):
        setting.outlet.hang_up()


def to_reader(number: int) -> Act:
    """A signal to the program that reads what the run prints."""

    def act(setting: Setting, _: Story) -> None:
        if isinstance(setting.outlet, Piped):
            setting.outlet.signal(number)

    return act


def delete(setting: Setting, _: Story) -> None:
    subprocess.run(["rm", "-rf", str(setting.folder)], check=True)


def make_read_only(setting: Setting, _: Story) -> None:
    """Neither the folder nor the one above it takes a new file."""
    for path in (setting.folder, setting.folder.parent):
        if path.exists():
            path.chmod(0o555)


INTERRUPT = {"INT": STOPPED, "TERM": STOPPED, "HUP": STOPPED, "QUIT": STOPPED, "TSTP": STOPPED}
IGNORED = ("PIPE", "WINCH", "USR1", "TTOU")
FATAL = (
    "ABRT", "ALRM", "BUS", "FPE", "ILL", "IO", "PROF", "PWR", "SEGV", "STKFLT", "SYS", "TRAP", "USR2",
    "VTALRM", "XCPU",
)  # fmt: skip
"""What nobody handles: the process dies of it, and the guard switches off."""

SHUTTING_DOWN = "shut-down"


def signals() -> Iterator[Cell]:
    """Every signal at six moments, once and three times."""
    for place, (phase, number) in enumerate(MOMENTS):
        for again in (False, True):
            gaps = (0.0, 0.7, 1.4) if again else (0.0,)
            for name in (*INTERRUPT, *IGNORED):
                own = int(signal.Signals[f"SIG{name}"])
                acts = tuple((gap, send(own)) for gap in gaps)
                codes, off = _codes(name, phase, again)
                if phase == "check" and name in ("TSTP", "TTOU"):
                    # Before the run, a shell's job may be stopped and go on, as any.
                    acts = (*acts, (gaps[-1] + 0.5, send(signal.SIGCONT)))
                label = f"{name}{', three times' if again else ''}, moment {place + 1}"
                yield Cell(f"signal, {phase}", label, phase, number, codes, acts, off_within=off)
            for pause in (0.3, 2.5):
                acts = ((0.0, send(signal.SIGSTOP)), (pause, send(signal.SIGCONT)))
                if again:
                    acts += ((pause + 0.5, send(signal.SIGSTOP)), (2 * pause + 0.5, send(signal.SIGCONT)))
                # One that is armed and silent for a second is ended by its guard.
                killed = pause > 1.0 and phase not in ("check", SHUTTING_DOWN)
                label = f"STOP, CONT after {pause:g} s{', twice' if again else ''}, moment {place + 1}"
                codes = (-signal.SIGKILL,) if killed else (DONE,)
                yield Cell(
                    f"signal, {phase}", label, phase, number, codes, acts, off_within=4.0 if killed else None
                )
    for name in FATAL:
        own = int(signal.Signals[f"SIG{name}"])
        yield Cell(
            "signal that nobody handles", name, "playing", 150, (-own,), ((0.0, send(own)),), off_within=2.0
        )


def _codes(name: str, phase: str, again: bool) -> tuple[tuple[int, ...], float | None]:
    """Exit codes that a signal may end with, and how soon outputs are off."""
    number = int(signal.Signals[f"SIG{name}"])
    if name in IGNORED:
        return ((-number,) if phase == "check" and name == "USR1" else (DONE,)), None
    if phase == "check":
        # The second and third come after the check, in the run.
        ignored = (DONE, STOPPED) if again else (DONE,)
        return {"INT": (STOPPED,), "TSTP": ignored}.get(name, (-number,)), None
    codes = (STOPPED, DONE) if phase == SHUTTING_DOWN else (STOPPED,)
    return (*codes, NOT_CONFIRMED) if again else codes, 2.0


def keys() -> Iterator[Cell]:
    """What is typed into the terminal, and its end."""
    for place, (phase, number) in enumerate(MOMENTS):
        for key, name in (("Ctrl-C", "INT"), ("Ctrl-Z", "TSTP"), ("Ctrl-\\", "QUIT")):
            codes, off = _codes(name, phase, False)
            acts: tuple[tuple[float, Act], ...] = ((0.0, press(key)),)
            if phase == "check" and key == "Ctrl-Z":
                acts += ((0.5, send(signal.SIGCONT)),)
            label = f"{key}, moment {place + 1}"
            yield Cell(f"terminal, {phase}", label, phase, number, codes, acts, on_terminal, off)
        codes, off = _codes("INT", phase, True)
        acts = tuple((gap, press("Ctrl-C")) for gap in (0.0, 0.7, 1.4))
        label = f"Ctrl-C three times, moment {place + 1}"
        yield Cell(f"terminal, {phase}", label, phase, number, codes, acts, on_terminal, off)
        acts = ((0.0, press("Ctrl-S")), (5.0, press("Ctrl-Q")))
        label = f"Ctrl-S, Ctrl-Q 5 s later, moment {place + 1}"
        yield Cell(f"terminal, {phase}", label, phase, number, (DONE,), acts, on_terminal)
        acts = ((0.0, press("Ctrl-S")), (0.4, press("Ctrl-C")))
        codes, off = _codes("INT", phase, False)
        label = f"Ctrl-S, then Ctrl-C, moment {place + 1}"
        yield Cell(f"terminal, {phase}", label, phase, number, codes, acts, on_terminal, off and off + 0.4)
        codes, off = _codes("HUP", phase, False)
        label = f"closed, moment {place + 1}"
        yield Cell(f"terminal, {phase}", label, phase, number, codes, ((0.0, hang_up),), on_terminal, off)


def readers() -> Iterator[Cell]:
    """Programs that read what the run prints, and do not go on."""

    def through(*reader: str, merged: bool) -> Callable[[Setting], Outlet]:
        return lambda setting: Piped(reader, merged=merged, into=setting.place / "out")

    for lines in (1, 5, 25):
        for merged in (False, True):
            options = ("--trace",) if merged else ()
            label = f"| head -{lines}{', with the trace' if merged else ''}"
            outlet = through("head", f"-{lines}", merged=merged)
            yield Cell("reader", label, "", 0, (DONE,), outlet=outlet, options=options)
    for place, (phase, number) in enumerate(MOMENTS):
        for merged in (False, True):
            traced = ("--trace",) if merged else ()
            cat, what = through("cat", merged=merged), ", with the trace" if merged else ""
            acts = ((0.0, to_reader(signal.SIGSTOP)), (6.0, to_reader(signal.SIGCONT)))
            label = f"| less, that stops{what}, moment {place + 1}"
            yield Cell("reader", label, phase, number, (DONE,), acts, cat, options=traced)
            died = ((0.0, to_reader(signal.SIGKILL)),)
            label = f"| tee, that dies{what}, moment {place + 1}"
            yield Cell("reader", label, phase, number, (DONE,), died, cat, options=traced)


def outlets() -> Iterator[Cell]:
    """Streams that take nothing."""
    trace = ("--trace",)
    for label, out, err in (
        ("output onto a full disk", "/dev/full", "err"),
        ("trace onto a full disk", "out", "/dev/full"),
        ("both onto a full disk", "/dev/full", "/dev/full"),
        ("output closed", "", "err"),
        ("trace closed", "out", ""),
        ("both closed", "", ""),
    ):
        yield Cell("streams", label, "", 0, (DONE,), outlet=_files(out, err), options=trace)
        stop = ((0.0, send(signal.SIGINT)),)
        label, outlet = f"{label}, then Ctrl-C", _files(out, err)
        yield Cell("streams", label, "playing", 200, (STOPPED,), stop, outlet, 2.0, options=trace)
    all_closed = _files("", "", "")
    yield Cell("streams", "all closed", "", 0, (DONE,), outlet=all_closed, options=trace)
    for options in ((), trace):
        label = f"ASCII locale{', with the trace' if options else ''}"
        yield Cell("streams", label, "", 0, (DONE,), outlet=to_null, options=options, encoding="ascii")
    for size in (4, 16, 64):
        label = f"trace onto a file system of {size} kB"
        outlet = _files("out", f"disk-{size}/err")
        yield Cell("streams", label, "", 0, (DONE,), outlet=outlet, options=trace, size=-size)


def _files(out: str, err: str, given: str = os.devnull) -> Callable[[Setting], Outlet]:
    def made(setting: Setting) -> Outlet:
        names = [
            name if not name or name.startswith("/") else str(setting.place / name) for name in (out, err)
        ]
        return Files(names[0], names[1], given)

    return made


def disks() -> Iterator[Cell]:
    """A disk that is full, a folder that goes or takes nothing, and a clock that jumps. A disk that does not
    even take what a record begins with is told before the run begins.
    """
    for size in (8, 12, 16, 20, 24, 28, 32, 40, 48, 64, 80, 96):
        yield Cell("disk", f"of {size} kB", "", 0, (DONE, REFUSED, STOPPED), size=size, readable=False)
    for largest in (200, 2000, 5000, 9000, 14000, 20000, 30000):
        label = f"files of {largest} bytes at most"
        yield Cell("disk", label, "", 0, (DONE, REFUSED, STOPPED), largest=largest, readable=False)
    for place, (phase, number) in enumerate(MOMENTS):
        if phase != "check":
            codes = (STOPPED, DONE) if phase == SHUTTING_DOWN else (STOPPED,)
            label = f"folder deleted, moment {place + 1}"
            acts = ((0.0, delete),)
            yield Cell("disk", label, phase, number, codes, acts, off_within=3.0, readable=False)
        codes = (STOPPED,) if phase == "check" else (DONE, STOPPED)
        label = f"folder made read-only, moment {place + 1}"
        ro = ((0.0, make_read_only),)
        readable = phase != "check"
        yield Cell("disk", label, phase, number, codes, ro, obeys_modes=True, readable=readable)
        for step in (-86400.0, 3600.0):
            label = f"clock jumps by {step / 3600:g} h, moment {place + 1}"
            says = "time of day was set" if phase == "playing" else ""
            yield Cell("clock", label, phase, number, (DONE,), step=step, says=says)


def all_cells() -> list[Cell]:
    return [*signals(), *keys(), *readers(), *outlets(), *disks()]
