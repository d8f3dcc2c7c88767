"""What a run tells its user when it has ended, by the ways that are set up: once for a series."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

from railwright.cli.exits import complain

if TYPE_CHECKING:
    from railwright.cli.series import PlayedSeries, Series
    from railwright.documents.message_file import Messages
    from railwright.messages.messenger import Messenger

MOST_LINES = 40
"""Of plays that a message names, the last ones."""


class EndingTeller:
    """Makes the message of one run or series. settings: None where none is set up."""

    def __init__(self, settings: Messages | None, quiet: bool) -> None:
        self._settings, self._quiet = settings, quiet
        self._messenger: Messenger | None = None
        self._about: dict[str, Any] = {}
        self._series: Series | None = None
        self._played: PlayedSeries | None = None

    def begins(self, procedure: str, unit: str, series: Series, *, simulated: bool) -> None:
        """From now on, it is also told where this process dies."""
        if self._settings is None:
            return
        from railwright.messages.messenger import Messenger

        self._series = series
        self._about = {"procedure": procedure, "unit": unit, "simulated": simulated}
        gone = self._message(
            "KILLED",
            "Its process ended before it could say how. Where a guard was running, it switches the outputs "
            "off; 'railwright off' tells what is confirmed. Measure before touching anything.\n"
            f"{series.place}",
        )
        try:
            self._messenger = Messenger(self._settings.ways, gone)
        except OSError as error:
            complain(f"caution: no message will be sent: {error.strerror}")

    def ends(self, played: PlayedSeries) -> None:
        """How it ended; told by `tell`, once everything else is done."""
        self._played = played

    def tell(self, failed: BaseException | None) -> None:
        """Tell it, and say in one line what came of that. failed: what ended it, in place of an outcome."""
        from railwright.cli.message import say_what_came

        if self._messenger is None or self._settings is None or self._series is None:
            return
        played = self._played
        if played is None:
            told = f"See the terminal.\n{self._series.place}"
            say_what_came(
                self._messenger, self._message(f"ended with an error ({type(failed).__name__})", told)
            )
        elif played.completed and self._settings.when == "not completed":
            self._messenger.tell(None)
        else:
            several = self._series.times > 1
            count = f"{len(played.lines)} of {self._series.times} played: " if several else ""
            lines = played.told()[-MOST_LINES:] if several else (str(self._series.place),)
            message = self._message(f"{count}{played.last}", "\n".join(lines))
            say_what_came(self._messenger, {**message, "code": int(played.code)}, self._quiet)

    def _message(self, how: str, text: str) -> dict[str, Any]:
        from railwright.printable import printable

        about = self._about
        head = "simulated: " if about["simulated"] else ""
        subject = f"{head}{about['procedure']}, unit {about['unit']}: {how}"
        return {**about, "subject": printable(subject, one_line=True), "text": text}


@contextmanager
def ending_told(settings: Messages | None, quiet: bool) -> Iterator[EndingTeller]:
    """A teller that tells when this is left, also by an error. Ctrl-C then ends the waiting alone."""
    teller = EndingTeller(settings, quiet)
    try:
        yield teller
    finally:
        teller.tell(sys.exc_info()[1])
