"""An output's own point list: loaded and verified, armed, started together with others, and ended."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from railwright.dialects.dialect import ListFile, PointListCommands
from railwright.dialects.units import CHANNEL, compose
from railwright.instruments.comparison import allowed_difference
from railwright.instruments.errors import InstrumentError
from railwright.instruments.session import Answer
from railwright.instruments.supply import OutputSetting, SupplyDriver
from railwright.scpi.blocks import decode_block, encode_block
from railwright.scpi.errors import ScpiError
from railwright.scpi.numbers import parse_response

DWELL_PART = 1e-4
"""Part of a dwell by which its query may differ: the digits of the answer, no rounding."""


@dataclass(frozen=True, slots=True)
class OwnList:
    """A list for one output of a supply: voltages [V] with dwells [s], and how often it is played through."""

    output: str
    voltages: tuple[float, ...]
    dwells: tuple[float, ...]
    count: int
    between: Literal["step", "line"]


def load(supply: SupplyDriver, own: OwnList) -> None:
    """Load a list and ask all of it back. InstrumentError at the first thing that is not as it should be."""
    header = _headers(supply)
    if header.file is not None:
        _put_file(supply, own, header.file)
        _expect_numbers(supply, own, header.voltages, own.voltages, "voltage")
        _expect_numbers(supply, own, header.dwells, own.dwells, "dwell")
    else:
        _put_numbers(supply, own, header.voltages, own.voltages, "voltage")
        _put_numbers(supply, own, header.dwells, own.dwells, "dwell")
    _put_numbers(supply, own, header.count, (float(own.count),), "count")
    if header.between is not None:
        _put_word(supply, own.output, header.between, own.between)
    elif own.between != "step":
        raise InstrumentError(
            supply.name, "", f"its dialect '{supply.dialect.name}' cannot play points in lines"
        )


def arm(supply: SupplyDriver, output: str) -> None:
    """Let the list rule the voltage, verified: from now on the start plays it."""
    _headers(supply)
    supply.put_together([OutputSetting(output, "voltage_mode", "list")])


def start(supply: SupplyDriver, outputs: Sequence[str], at: float | None = None) -> Answer:
    """Start the lists of several outputs together. at: when the message is to leave [s, monotonic clock].
    Gives the exchange.
    """
    header, dialect = _headers(supply), supply.dialect
    channels = [supply.channel(output) for output in outputs]
    if dialect.addressing == "channel-list":
        units = [dialect.command_of(header.start, channels)]
    else:
        units = [u for c in channels for u in (*dialect.select(c), dialect.command_of(header.start, [c]))]
    # A query that waits until everything is done would wait until the lists are over.
    return supply.whether_done(units, at=at, goes_on=True)[1]


def stop(supply: SupplyDriver) -> None:
    """End every list of the supply: SCPI-1999's ABORt has no channel. Outputs stay where they are."""
    supply.do(stop_units(supply))


def stop_units(supply: SupplyDriver) -> list[str]:
    """The commands that end every list of the supply, for a message that also says what comes then."""
    return [_headers(supply).stop]


def release(supply: SupplyDriver, output: str) -> None:
    """Let the set point rule the voltage again, verified; no list may run."""
    _headers(supply)
    supply.put_together([OutputSetting(output, "voltage_mode", "fixed")])


def _headers(supply: SupplyDriver) -> PointListCommands:
    if supply.dialect.points is None:
        raise InstrumentError(
            supply.name, "", f"its dialect '{supply.dialect.name}' has no commands for a point list"
        )
    return supply.dialect.points


def _put_word(supply: SupplyDriver, output: str, header: str, word: str) -> None:
    """Set one of the dialect's words and ask it back, in one message."""
    dialect, channel = supply.dialect, supply.channel(output)
    units = [
        *dialect.select(channel),
        dialect.command_of(header, [channel], dialect.words[word]),
        dialect.query_of(header, channel),
    ]
    answers, _ = supply.whether_done(units)
    try:
        got = dialect.word(answers[0])
    except ValueError as error:
        raise InstrumentError(supply.name, compose(units), str(error)) from None
    if got != word:
        told = f"output {output}: {header} was set to {word} and reads back as {answers[0]}"
        raise InstrumentError(supply.name, compose(units), told)


def _put_numbers(
    supply: SupplyDriver,
    own: OwnList,
    header: str,
    values: Sequence[float],
    kind: Literal["voltage", "dwell", "count"],
) -> None:
    """Set numbers and compare what the query answers with them."""
    dialect, channel = supply.dialect, supply.channel(own.output)
    written = [f"{value:.9g}" for value in values]
    if _in_block(supply, kind):
        written = [_block(written)]
    supply.do([*dialect.select(channel), dialect.command_of(header, [channel], *written)])
    _expect_numbers(supply, own, header, values, kind)


def _put_file(supply: SupplyDriver, own: OwnList, file: ListFile) -> None:
    """Write a file of points into the instrument, and load it into the output."""
    dialect, channel = supply.dialect, supply.channel(own.output)
    points = zip(own.voltages, own.dwells, strict=True)
    text = _block([f"{value:.9g}" for point in points for value in point])
    name = '"' + file.name.replace(CHANNEL, str(channel)) + '"'
    supply.do([f"{file.data} {name},{text}"])
    supply.do([*dialect.select(channel), dialect.command_of(file.load, [channel], name)])


def _in_block(supply: SupplyDriver, kind: Literal["voltage", "dwell", "count"]) -> bool:
    return kind != "count" and _headers(supply).written == "block"


def _block(numbers: Sequence[str]) -> str:
    """Numbers as the text of a block."""
    return encode_block(",".join(numbers).encode("ascii")).decode("ascii")


def _expect_numbers(
    supply: SupplyDriver,
    own: OwnList,
    header: str,
    values: Sequence[float],
    kind: Literal["voltage", "dwell", "count"],
) -> None:
    """Compare what the query of numbers answers with what it should."""
    dialect, channel = supply.dialect, supply.channel(own.output)
    units = [*dialect.select(channel), dialect.query_of(header, channel)]
    answer = supply.one_answer(units)
    try:
        if _in_block(supply, kind):
            data, end = decode_block(answer.encode("latin-1"))
            if end != len(answer):
                raise ValueError(f"expected one block, got {len(answer) - end} characters more")
            answer = data.decode("latin-1")
        got = [parse_response(part) for part in answer.split(",")]
    except (ValueError, ScpiError) as error:
        raise InstrumentError(supply.name, compose(units), str(error)) from None
    if len(got) != len(values):
        raise _differs(supply, compose(units), own, f"{len(values)} values", f"{len(got)}")
    document = supply.document.outputs[own.output]
    for place, (asked, is_there) in enumerate(zip(values, got, strict=True), start=1):
        allowed = DWELL_PART * asked if kind == "dwell" else 0.0
        if kind == "voltage":
            allowed = allowed_difference(document, "voltage", asked)
        # A NaN is never within any bound.
        if not abs(is_there - asked) <= allowed:
            raise _differs(supply, compose(units), own, f"{kind} {asked:.9g} of point {place}", f"{is_there}")


def _differs(supply: SupplyDriver, command: str, own: OwnList, asked: str, got: str) -> InstrumentError:
    shown = got if len(got) <= 60 else got[:57] + "..."
    return InstrumentError(
        supply.name, command, f"output {own.output}: {asked} was set in its list and reads back as {shown}"
    )
