"""The channel that a text says. Standard library only, so that what switches off need not wait for more."""

from __future__ import annotations

import re


def channel_named(text: str) -> int | None:
    """The channel that a text says, such as an output's name; None: it is no whole number of 1 to 99999."""
    return (int(text) or None) if re.fullmatch(r"\d{1,5}", text, re.ASCII) else None
