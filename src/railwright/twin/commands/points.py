"""The output's own point list, and the trigger that starts it.

Headers are SCPI-1999's LIST, INITiate, ABORt and TRIGger, with a channel list where the dialect has one. Not
in SCPI-1999: LIST:INTerpolation STEP|LINear (whether the output steps or goes in straight lines), LIST:LOAD
(a file that MMEMory:DATA has written).
"""

from __future__ import annotations

import math
from collections.abc import Callable

from railwright.scpi.blocks import encode_block
from railwright.scpi.data import Block, Datum, Number, Text, Word
from railwright.scpi.errors import ScpiError
from railwright.scpi.numbers import INFINITY, format_nr3
from railwright.scpi.parameters import choice, number_in
from railwright.twin.commands.tree import TREE, Call, Command, needs, not_playing, of_outputs, on_outputs
from railwright.twin.panel import LARGEST_COUNT, Bounds, Panel
from railwright.twin.supply import TwinSupply

_HAS_POINTS = needs(lambda panel: panel.output.points, "point list")
LONGEST = 100_000


def _values(call: Call, panel: Panel, unit: str, bounds: Bounds) -> list[float]:
    """What a list is told, by numbers or by a block that has them as text."""
    if panel.lists_by == "file":
        raise ScpiError(-113, "a list is loaded from a file: LIST:LOAD")
    given = call.parameters
    if panel.lists_by == "block":
        if len(given) != 1 or not isinstance(given[0], Block):
            raise ScpiError(-104, "a block is expected")
        given = _numbers_in(given[0].data)
    return [number_in(datum, unit, *bounds) for datum in _not_too_many(panel, given)]


def _not_too_many(panel: Panel, given: tuple[Datum, ...], each: int = 1) -> tuple[Datum, ...]:
    assert panel.output.points is not None
    if len(given) > each * panel.output.points.at_most:
        raise ScpiError(-223, f"{len(given) // each} points of at most {panel.output.points.at_most}")
    return given


def _numbers_in(data: bytes) -> tuple[Datum, ...]:
    """The numbers that stand in a block or a file as text, with commas between."""
    try:
        return tuple(Number(float(part)) for part in data.decode("ascii").split(","))
    except ValueError:
        raise ScpiError(-161, "numbers with commas between are expected") from None


def _write_file(supply: TwinSupply, call: Call) -> None:
    name, data = call.parameters
    if not isinstance(name, Text) or not isinstance(data, Block):
        raise ScpiError(-104, "a name in quotes and a block are expected")
    supply.files[name.text] = data.data


def _read_file(supply: TwinSupply, call: Call) -> str:
    return encode_block(_file(supply, call.parameters[0])).decode("latin-1")


def _file(supply: TwinSupply, name: Datum) -> bytes:
    if not isinstance(name, Text):
        raise ScpiError(-104, "a name in quotes is expected")
    if name.text not in supply.files:
        raise ScpiError(-256, f"no file {name.text}")
    return supply.files[name.text]


def _load(supply: TwinSupply, channel: int, call: Call) -> Callable[[], None]:
    """A file of points, voltage and dwell of each, into the list of an output."""
    panel = supply.panels[channel]
    _HAS_POINTS(panel)
    not_playing(supply, channel)
    if panel.lists_by != "file":
        raise ScpiError(-113, "LIST:LOAD")
    numbers = _not_too_many(panel, _numbers_in(_file(supply, call.parameters[0])), 2)
    if len(numbers) % 2:
        raise ScpiError(-226, "voltage and dwell of each point are expected")
    voltages = [number_in(each, "V", *panel.voltage_bounds) for each in numbers[::2]]
    dwells = [number_in(each, "S", *panel.dwell_bounds) for each in numbers[1::2]]

    def do() -> None:
        panel.points.voltages = [panel.grid_voltage.on_grid(value) for value in voltages]
        panel.points.dwells = dwells

    return do


def _change(
    field: str,
    asked: Callable[[Panel, Call], object],
    of: Callable[[Panel], object] = lambda panel: panel.points,
) -> Callable[[TwinSupply, int, Call], Callable[[], None]]:
    """What keeps a setting of the point list in that field of it, checked as `asked` reads it; of: what has
    the field.
    """

    def change(supply: TwinSupply, channel: int, call: Call) -> Callable[[], None]:
        panel = supply.panels[channel]
        _HAS_POINTS(panel)
        not_playing(supply, channel)
        value = asked(panel, call)
        return lambda: setattr(of(panel), field, value)

    return change


def _voltages(panel: Panel, call: Call) -> list[float]:
    return [panel.grid_voltage.on_grid(value) for value in _values(call, panel, "V", panel.voltage_bounds)]


def _dwells(panel: Panel, call: Call) -> list[float]:
    return _values(call, panel, "S", panel.dwell_bounds)


def _count(panel: Panel, call: Call) -> float:
    given = call.parameters[0]
    endless = isinstance(given, Word) and given.text.upper() in ("INF", "INFINITY")
    return math.inf if endless else float(round(number_in(given, "", 1.0, float(LARGEST_COUNT), 1.0)))


def _lines(panel: Panel, call: Call) -> bool:
    assert panel.output.points is not None
    lines = choice(call.parameters[0], "STEP", "LINear") == "LIN"
    if ("line" if lines else "step") not in panel.output.points.between:
        raise ScpiError(-224, f"{panel.name} only goes by {', '.join(panel.output.points.between)}")
    return lines


def _mode(panel: Panel, call: Call) -> str:
    return "LIST" if choice(call.parameters[0], "FIXed", "LIST") == "LIST" else "FIX"


def _source(supply: TwinSupply, channel: int, call: Call) -> Callable[[], None]:
    source = choice(call.parameters[0], "IMMediate", "BUS")
    not_playing(supply, channel)

    def do() -> None:
        supply.panels[channel].trigger_source = "BUS" if source == "BUS" else "IMM"

    return do


def _initiate(supply: TwinSupply, channel: int, call: Call) -> Callable[[], None]:
    panel = supply.panels[channel]
    if channel in supply.armed or channel in supply.runs:
        raise ScpiError(-213, panel.name)
    if panel.voltage_mode == "LIST":
        points = panel.points
        if not points.voltages or not points.dwells:
            raise ScpiError(-221, f"{panel.name} has no point list yet")
        if len(points.dwells) not in (1, len(points.voltages)):
            raise ScpiError(-226, f"{len(points.voltages)} voltages, {len(points.dwells)} dwells")

    def do() -> None:
        supply.armed.add(channel)
        if panel.trigger_source == "IMM":
            supply.fire(channel)

    return do


def _trigger(supply: TwinSupply, channel: int, call: Call) -> Callable[[], None]:
    if channel not in supply.armed:
        raise ScpiError(-211, f"{supply.panels[channel].name} has not been initiated")
    return lambda: supply.fire(channel)


def _list_answer(get: Callable[[Panel], str]) -> Callable[[TwinSupply, int, Call], str]:
    def answer(supply: TwinSupply, channel: int, call: Call) -> str:
        _HAS_POINTS(supply.panels[channel])
        return get(supply.panels[channel])

    return answer


def _joined(panel: Panel, values: list[float]) -> str:
    """The values of a list, or 9.91E37 where there are none: an answer needs a datum."""
    text = ",".join(format_nr3(value) for value in values) if values else format_nr3(math.nan)
    return encode_block(text.encode("ascii")).decode("ascii") if panel.lists_by == "block" else text


def _abort_all(supply: TwinSupply, call: Call) -> None:
    """ABORt has no parameter in SCPI-1999: it ends whatever was initiated, on all outputs."""
    for channel in range(len(supply.panels)):
        supply.stop_list(channel)
    supply.refresh()


on_outputs("[SOURce]:LIST:VOLTage", _change("voltages", _voltages), least=1, most=LONGEST)
of_outputs("[SOURce]:LIST:VOLTage?", _list_answer(lambda panel: _joined(panel, panel.points.voltages)))
of_outputs("[SOURce]:LIST:VOLTage:POINts?", _list_answer(lambda panel: str(len(panel.points.voltages))))
on_outputs("[SOURce]:LIST:DWELl", _change("dwells", _dwells), least=1, most=LONGEST)
of_outputs("[SOURce]:LIST:DWELl?", _list_answer(lambda panel: _joined(panel, panel.points.dwells)))
of_outputs("[SOURce]:LIST:DWELl:POINts?", _list_answer(lambda panel: str(len(panel.points.dwells))))
on_outputs("[SOURce]:LIST:COUNt", _change("count", _count), least=1, most=1)
of_outputs(
    "[SOURce]:LIST:COUNt?",
    _list_answer(
        lambda panel: format_nr3(INFINITY) if panel.points.count == math.inf else f"{panel.points.count:.0f}"
    ),
)
on_outputs("[SOURce]:LIST:INTerpolation", _change("lines", _lines), least=1, most=1)
of_outputs(
    "[SOURce]:LIST:INTerpolation?", _list_answer(lambda panel: "LIN" if panel.points.lines else "STEP")
)
on_outputs("[SOURce]:VOLTage:MODE", _change("voltage_mode", _mode, lambda panel: panel), least=1, most=1)
of_outputs("[SOURce]:VOLTage:MODE?", lambda supply, channel, call: supply.panels[channel].voltage_mode)
on_outputs("TRIGger:SOURce", _source, least=1, most=1)
of_outputs("TRIGger:SOURce?", lambda supply, channel, call: supply.panels[channel].trigger_source)
on_outputs("INITiate[:IMMediate]", _initiate)
on_outputs("TRIGger[:IMMediate]", _trigger)
TREE.add("ABORt", Command(_abort_all))
TREE.add("MMEMory:DATA", Command(_write_file, least=2, most=2))
TREE.add("MMEMory:DATA?", Command(_read_file, least=1, most=1))
on_outputs("[SOURce]:LIST:LOAD", _load, least=1, most=1)
