"""The channel numbers by which a simulated supply knows its outputs, worked out from the document alone.

Nothing here comes from the driver: where the two disagree about a bench, the twin is meant to show it.
"""

from __future__ import annotations

import re

from railwright.documents.bench import Supply
from railwright.twin.wiring import WiringError


def channel_numbers(document: Supply) -> dict[str, int]:
    """Output -> channel, in the order of the document: what `channel` says, else the name where it is a
    number. WiringError where neither gives one, or where two outputs have the same.
    """
    channels: dict[str, int] = {}
    for name, output in document.outputs.items():
        written = output.channel
        if written is None and not re.fullmatch(r"0*[1-9]\d{0,4}", name, re.ASCII):
            raise WiringError(
                f"output '{name}': expected a channel, as its name is no number of 1 to 99999; "
                "write its 'channel'"
            )
        channel = int(name) if written is None else written
        other = next((known for known, taken in channels.items() if taken == channel), None)
        if other is not None:
            raise WiringError(
                f"output '{name}': expected a channel of its own, got {channel}, as '{other}' has"
            )
        channels[name] = channel
    return channels
