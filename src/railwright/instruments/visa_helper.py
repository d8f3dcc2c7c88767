"""A process that speaks VISA for one address: `… -m railwright.instruments.visa_helper ADDRESS [MANNER]`.

Standard input: messages, one a line. Standard output: `open`, or why not; then the answer to each message
that asks something, one a line. It may hang in its library: whoever started it kills it then. The session is
cleared first (IEEE 488.1 device clear), so that nothing of an earlier message is completed by a new one.
"""

from __future__ import annotations

import json
import sys
from contextlib import suppress


def main(address: str, session_settings: str = "{}") -> int:
    """Serve until standard input ends. session_settings: a `SessionSettings`, as JSON. The exit code."""
    from railwright.guard.session_settings import settings_from
    from railwright.instruments.errors import InstrumentError
    from railwright.instruments.session import VisaSession

    try:
        session = VisaSession(
            "instrument",
            address,
            timeout=60.0,
            session_settings=settings_from(json.loads(session_settings)),
        )
    except InstrumentError as error:
        print(error.what, flush=True)
        return 1
    with suppress(Exception):
        session.clear()
    print("open", flush=True)
    for line in sys.stdin:
        message = line.rstrip("\n")
        try:
            if asks(message):
                print(session.ask(message).text, flush=True)
            else:
                session.tell(message)
        except InstrumentError:
            return 1
    return 0


def asks(message: str) -> bool:
    """Whether a message has a query in it."""
    from railwright.instruments.conversation import is_query, split_answers

    return any(is_query(unit) for unit in split_answers(message))


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
