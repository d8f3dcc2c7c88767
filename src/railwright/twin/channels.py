"""The channel numbers by which a simulated supply knows its outputs, worked out from the document alone.

Nothing here comes from the driver: where the two disagree about a bench, the twin is meant to show it.
"""

from __future__ import annotations

from railwright.documents.bench import Supply
from railwright.twin.wiring import WiringError


def channel_numbers(document: Supply) -> dict[str, int]:
    """Output -> channel, in the order of the document: what `channel` says, else the name where it is a
    number. WiringError where neither gives one, or where two outputs have the same.
    """
    channels: dict[str, int] = {}
    for name, output in document.outputs.items():
        written: int | None = getattr(output, "channel", None)
        if written is None and not (name.isascii() and name.isdigit()):
            raise WiringError(
                f"output '{name}': expected a channel, as its name is no number; write its 'channel'"
            )
        channel = int(name) if written is None else written
        other = next((known for known, taken in channels.items() if taken == channel), None)
        if other is not None:
            raise WiringError(
                f"output '{name}': expected a channel of its own, got {channel}, as '{other}' has"
            )
        channels[name] = channel
    return channels
