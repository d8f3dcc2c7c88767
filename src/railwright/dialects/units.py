"""Commands as text: a header with its output, and several commands as one message. Standard library only,
so that what switches off need not wait for more.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

from railwright.scpi.channels import format_channels

CHANNEL, VALUE = "{channel}", "{value}"
"""What a dialect's headers leave open: the output's number or name, and where a value stands if not last."""

FACTORS = {
    "V": 1.0,
    "mV": 1e-3,
    "kV": 1e3,
    "A": 1.0,
    "mA": 1e-3,
    "uA": 1e-6,
    "W": 1.0,
    "mW": 1e-3,
    "kW": 1e3,
    "s": 1.0,
    "ms": 1e-3,
    "us": 1e-6,
    "V/s": 1.0,
    "V/ms": 1e3,
    "V/us": 1e6,
    "kV/s": 1e3,
    "mV/s": 1e-3,
}
"""Units that a dialect may name, and how many of the SI unit each is."""


BEFORE_VALUE = " =:#,"
"""Signs that a header may have between its name and the value."""


def query_of_header(header: str) -> str:
    """The query that goes with a command's header: `VOLT` and `VOLT={value}` are asked by `VOLT?`."""
    return header.removesuffix(VALUE).rstrip(BEFORE_VALUE) + "?"


def with_value(header: str, value: str) -> str:
    """A command: the value stands where the header says, else behind a blank."""
    return header.replace(VALUE, value) if VALUE in header else f"{header} {value}"


def compose(units: Sequence[str]) -> str:
    """One message of several commands, each from the root: `VOLT 5;:VOLT?;*OPC?`."""
    return "".join(
        unit if position == 0 else f";{unit}" if unit.startswith("*") else f";:{unit}"
        for position, unit in enumerate(units)
    )


class Spoken(NamedTuple):
    """How commands name their output, and how many go into one message.

    addressing: 'none', 'channel-list', 'selected-output', 'numbered-header', 'prefixed' or 'parameter'.
    select: header that selects an output, '' where none does. prefix: what stands before every command of an
    output. called: what the instrument calls its outputs: by channel, or a text with `{channel}` in it.
    longest: most bytes of a message, without what ends it; 0: any.
    """

    addressing: str
    compound: bool
    select: str = ""
    prefix: str = ""
    called: str | Mapping[int, str] = CHANNEL
    longest: int = 0

    def name(self, channel: int) -> str:
        """What the instrument calls an output. ValueError where the dialect has no name for it."""
        if isinstance(self.called, str):
            return self.called.replace(CHANNEL, str(channel))
        if channel not in self.called:
            known = ", ".join(str(each) for each in sorted(self.called))
            raise ValueError(f"expected a channel that the dialect has a name for ({known}), got {channel}")
        return self.called[channel]

    def selecting(self, channel: int) -> list[str]:
        """What goes before commands to a channel: nothing where commands carry their channel themselves."""
        return [with_value(self.select, self.name(channel))] if self.select else []

    def selects(self, unit: str) -> bool:
        """Whether a command selects an output."""
        return self.selected_by(unit) != ""

    def selected_by(self, unit: str) -> str:
        """The name of the output that a command selects; '' where it selects none."""
        if not self.select:
            return ""
        before, _, behind = with_value(self.select, VALUE).partition(VALUE)
        if not (unit.startswith(before) and unit.endswith(behind)):
            return ""
        name = unit[len(before) : len(unit) - len(behind)]
        # Where nothing parts them, another command may begin as this one does.
        parted = before[-1:] in BEFORE_VALUE
        return name if parted or self._is_name(name) else ""

    def _is_name(self, text: str) -> bool:
        if not isinstance(self.called, str):
            return text in self.called.values()
        before, _, behind = self.called.partition(CHANNEL)
        number = text.removeprefix(before).removesuffix(behind)
        return number.isdecimal() and text == f"{before}{number}{behind}"

    def named(self, header: str, channel: int) -> str:
        """A header with its output in it: by number beside a selection, which has the name; else by name."""
        return header.replace(CHANNEL, str(channel) if self.select else self.name(channel))

    def unit(self, header: str, channels: Sequence[int], *parameters: str) -> str:
        """One command of a header, for channels: more than one with a channel list only."""
        text, given = self.named(header, channels[0]), [*parameters]
        if self.addressing == "parameter" and CHANNEL not in header:
            given.insert(0, self.name(channels[0]))
        if VALUE in text:
            text, given = text.replace(VALUE, ",".join(given)), []
        if self.addressing == "channel-list":
            given.append(format_channels(tuple(channels)))
        elif self.addressing == "prefixed":
            text = self.prefix.replace(CHANNEL, self.name(channels[0])) + text
        return f"{text}{',' if ' ' in text else ' '}{','.join(given)}" if given else text

    def messages(self, units: Sequence[str]) -> tuple[str, ...]:
        """Units as messages: one where the dialect allows it, else one each, or as few as its length allows:
        what follows a selection has that before it in each of them.
        """
        if not self.compound:
            return tuple(units)
        whole = compose(units)
        if not self.longest or len(whole) <= self.longest:
            return (whole,)
        parts, selected = list[list[str]](), list[str]()
        for unit in units:
            if parts and len(compose([*parts[-1], unit])) <= self.longest:
                parts[-1].append(unit)
            else:
                again = [*selected, unit] if not self.selects(unit) else [unit]
                parts.append(again if len(compose(again)) <= self.longest else [unit])
            selected = [unit] if self.selects(unit) else selected
        return tuple(map(compose, parts))
