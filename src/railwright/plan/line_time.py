"""How long messages to a supply take at least: on its serial line, from their characters alone, and with the
pauses that it wants between them.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from railwright.documents.bench import Supply
from railwright.documents.serial_line import SerialLine
from railwright.guard.address import device_of

ANSWER = 13
"""Characters of one answer with what parts it from the next, such as `+1.2000000E+01;`, about."""


def line_of(supply: Supply) -> SerialLine | None:
    """Its serial line; None where it has none, or the address does not say which."""
    return (supply.line or SerialLine()) if device_of(supply.address) is not None else None


def reading_time(supply: Supply, outputs: Iterable[str]) -> float:
    """How long one reading of these outputs takes at least [s]; 0 where nothing of it is known."""
    if not _is_known(supply):
        return 0.0
    dialect, units, answers = supply.dialect, list[str](), 0
    channels = [supply.channels[output] for output in outputs]
    groups = [channels] if dialect.list_readings else [[channel] for channel in channels]
    for group in groups:
        asked = dict.fromkeys(dialect.reading_queries(group))
        # What is answered for all outputs is asked once.
        own = [each for each in asked if not (each in dialect.for_all and each in units)]
        units += [*dialect.select(group[0]), *own] if own else []
        # Of each output its state, voltage and current, and its status.
        answers += len(group) * (1 + 2 + dialect.status_answers)
        answers += dialect.instrument.selected is not None
    return _time(supply, units, answers)


def exchange_time(supply: Supply) -> float:
    """How long one set voltage with its verification takes at least [s]; 0 where nothing of it is known."""
    if not _is_known(supply) or not supply.dialect.can_set("voltage"):
        return 0.0
    dialect, channel = supply.dialect, min(supply.channels.values())
    units = [
        *dialect.select(channel),
        dialect.set_unit("voltage", channel, 12.345),
        dialect.query_unit("voltage", channel),
    ]
    closing = [each for each in (dialect.session.completes, dialect.error_query) if each is not None]
    return _time(supply, [*units, *closing], 1 + len(closing))


def link_time(supply: Supply) -> float:
    """How long one set voltage takes at least beside the readings [s]: with its verification, and behind the
    longest question for readings, that for all outputs; 0 where nothing of it is known.
    """
    return exchange_time(supply) + reading_time(supply, supply.channels)


def _is_known(supply: Supply) -> bool:
    """Whether anything is known of the time that messages take; asked for each line of a waveform."""
    return supply.dialect.session.pause > 0.0 or line_of(supply) is not None


def _time(supply: Supply, units: Sequence[str], answers: int) -> float:
    line, session = line_of(supply), supply.dialect.session_settings
    messages = supply.dialect.spoken.messages(supply.dialect.checked(units))
    # One before each: the next exchange waits for that, too.
    pauses = session.pause * len(messages)
    if line is None:
        return pauses
    characters = sum(len(message) + len(session.sends) for message in messages) + answers * ANSWER
    return characters * line.settings.byte_time + pauses
