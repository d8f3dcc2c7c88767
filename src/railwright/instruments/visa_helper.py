"""A process that speaks VISA for one address: `… -m railwright.instruments.visa_helper ADDRESS [MANNER]`.

Standard input: messages, one a line. Standard output: `started`; `open`, or why not; then the answer to each
message that asks something, one a line. It may hang in its library: whoever started it closes its input, or
kills it. The session is cleared first (IEEE 488.1 device clear), so that nothing of an earlier message is
completed by a new one, and no answer that came too late is taken for that to the next question.
"""

from __future__ import annotations

import json
import os
import queue
import sys
import threading
import time
from contextlib import suppress
from dataclasses import replace

GOODBYE = 0.3
"""How long a session may take to close once nobody listens any more [s]: some instruments take no other one
before it is closed in order. One that hangs is left then, with the process.
"""


def main(address: str, session_settings: str = "{}") -> int:
    """Serve until standard input ends. session_settings: a `SessionSettings`, as JSON. The exit code."""
    messages: queue.SimpleQueue[str | None] = queue.SimpleQueue()
    threading.Thread(target=_listen, args=(messages,), daemon=True).start()
    import pyvisa  # noqa: F401 - what takes long before anything is opened

    from railwright.guard.session_settings import settings_from
    from railwright.instruments.errors import InstrumentError
    from railwright.instruments.session import VisaSession

    print("started", flush=True)
    # What a session begins and ends with comes as messages, as all others do.
    spoken = replace(settings_from(json.loads(session_settings)), boot=0.0, opening=(), closing=())
    try:
        session = VisaSession(
            "instrument",
            address,
            timeout=60.0,
            session_settings=spoken,
        )
    except InstrumentError as error:
        print(error.what, flush=True)
        return 1
    with suppress(Exception):
        session.clear()
    print("open", flush=True)
    try:
        while (message := messages.get()) is not None:
            if asks(message):
                print(session.ask(message).text, flush=True)
            else:
                session.tell(message)
    except (InstrumentError, BrokenPipeError):
        return 1
    finally:
        session.end()
    return 0


def _listen(messages: queue.SimpleQueue[str | None]) -> None:
    """Take messages in while the library works; end the process where it does not come back from it."""
    for line in sys.stdin:
        messages.put(line.rstrip("\n"))
    messages.put(None)
    time.sleep(GOODBYE)
    os._exit(1)


def asks(message: str) -> bool:
    """Whether a message has a query in it."""
    from railwright.guard.session_settings import is_query
    from railwright.instruments.conversation import split_answers

    return any(is_query(unit) for unit in split_answers(message))


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
