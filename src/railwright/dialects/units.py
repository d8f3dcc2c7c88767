"""Commands as text: a header with its channels, and several commands as one message. Standard library only,
so that what switches off need not wait for more.
"""

from __future__ import annotations

from collections.abc import Sequence

from railwright.scpi.channels import format_channels


def unit_of(addressing: str, header: str, channels: Sequence[int], *parameters: str) -> str:
    """One command of a header; it carries its channels where the dialect's addressing is 'channel-list'."""
    given = [*parameters]
    if addressing == "channel-list":
        given.append(format_channels(tuple(channels)))
    return f"{header} {','.join(given)}" if given else header


def compose(units: Sequence[str]) -> str:
    """One message of several commands, each from the root: `VOLT 5;:VOLT?;*OPC?`."""
    return "".join(
        unit if position == 0 else f";{unit}" if unit.startswith("*") else f";:{unit}"
        for position, unit in enumerate(units)
    )
