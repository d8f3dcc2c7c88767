"""A run in a thread of its own, beside a program that does something else while the run waits for a key."""

from __future__ import annotations

import threading
from collections.abc import Callable
from types import TracebackType
from typing import Generic, Self, TypeVar

from railwright.running.interruption import StopRequest
from railwright.running.outcome import InputReading, Progress
from railwright.running.waiting import Source, Triggers

T = TypeVar("T")


class _Keys(Triggers):
    """The key comes by the program alone: standard input is none of this run's business. begun: set from the
    moment on in which the run waits for it.
    """

    def __init__(self, begun: threading.Event) -> None:
        super().__init__()
        self.waited = False
        self._begun = begun

    def how(self, source: Source) -> str:
        return "the program that runs it does" if source == "key" else super().how(source)

    def begin(self, source: Source) -> None:
        super().begin(source)
        if source == "key":
            self.waited = True
            self._begun.set()

    def _line(self) -> bool:
        return False


class _Newest(Progress):
    """Keeps the newest reading of each input."""

    def __init__(self) -> None:
        self.newest: dict[str, InputReading] = {}

    def reading(self, reading: InputReading) -> None:
        self.newest[reading.input] = reading


class Alongside(Generic[T]):
    """Has a run go on in a thread; a context manager, which never ends before the run is over. Where an error
    ends it, the run is asked to end, outputs off; a Ctrl-C while that is waited for asks once more.

    triggers, progress, stop, paced: for the run. paced: set while it waits for the key.
    """

    def __init__(self) -> None:
        self.paced = threading.Event()
        self.triggers, self.progress, self.stop = _Keys(self.paced), _Newest(), StopRequest()
        self._result: list[T] = []
        self._error: BaseException | None = None
        self._thread = threading.Thread(target=self._work, name="run")
        self._play: Callable[[], T] | None = None

    def _work(self) -> None:
        assert self._play is not None
        try:
            self._result.append(self._play())
        except BaseException as error:  # noqa: BLE001 - raised where the result is asked for
            self._error = error
        finally:
            self.paced.set()

    @property
    def over(self) -> bool:
        """Whether the run is over."""
        return not self._thread.is_alive()

    def start(self, play: Callable[[], T]) -> bool:
        """Start it, and wait until it waits for the key; False: it was over before that."""
        self._play = play
        self._thread.start()
        self.paced.wait()
        return self.triggers.waited

    def finish(self) -> None:
        """The key comes, and the rest is played."""
        self.triggers.press()
        self.paced.clear()
        self._thread.join()

    def result(self) -> T:
        """What the run came to, once it is over; raises what it raised."""
        self._thread.join()
        if self._error is not None:
            raise self._error
        return self._result[0]

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        asked: BaseException | None = None
        while self._thread.ident is not None and self._thread.is_alive():
            try:
                if kind is not None or asked is not None:
                    self.stop.request(f"the program that runs it ended early: {error!r}")
                self.paced.clear()
                self._thread.join()
            except KeyboardInterrupt as interrupt:
                asked = interrupt
        self.stop.close()
        if asked is not None and error is None:
            raise asked
