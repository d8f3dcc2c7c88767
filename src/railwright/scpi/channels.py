"""Channel lists of SCPI as a program writes them (SCPI-1999 vol. 1, 8.3.2)."""

from __future__ import annotations


def format_channels(channels: tuple[int, ...]) -> str:
    """A channel list as a program writes it: `(@1,2)`."""
    return "(@" + ",".join(str(channel) for channel in channels) + ")"
