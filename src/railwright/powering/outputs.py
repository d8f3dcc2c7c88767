"""One output of a bench, asked how it stands, or told a set point while it is off: nothing is energised."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import NamedTuple

from railwright.documents.bench import Bench
from railwright.documents.output_name import OutputName
from railwright.guard.link import GuardLink
from railwright.instruments.errors import InstrumentError
from railwright.instruments.guarded import open_guarded
from railwright.instruments.supply import OutputReading, OutputSetting, SupplyDriver


class Standing(NamedTuple):
    """How an output stands: what it measures, and its set points [V, A]."""

    output: OutputName
    reading: OutputReading
    voltage: float
    current_limit: float


def standing(bench: Bench, output: OutputName, link: GuardLink) -> Standing:
    """Ask an output. InstrumentError where it cannot be reached, is not the one of the bench, or a run has
    it.
    """
    with _opened(bench, output, link) as supply:
        return _standing(supply, output)


def set_off(bench: Bench, output: OutputName, voltage: float, link: GuardLink) -> Standing:
    """Set the voltage of an output that is off [V], verified; how it stands then.

    InstrumentError where it, or one that moves with it, is on: then nothing is set.
    """
    with _opened(bench, output, link) as supply:
        groups = [group.outputs for group in bench.supplies[output.supply].coupled]
        along = {own for group in groups if output.output in group for own in group} | {output.output}
        on = [own for own in supply.outputs if own in along and supply.state(own)]
        if on:
            names = " and ".join(str(OutputName.of(output.supply, own)) for own in on)
            told = f"expected {output} off, and what moves with it, got {names} on; nothing was set"
            raise InstrumentError(supply.name, "", told)
        supply.put([OutputSetting(output.output, "voltage", voltage)])
        return _standing(supply, output)


@contextmanager
def _opened(bench: Bench, output: OutputName, link: GuardLink) -> Iterator[SupplyDriver]:
    supply = SupplyDriver(output.supply, bench.supplies[output.supply], open_guarded(link))
    supply.connect()
    try:
        supply.identify()
        yield supply
    finally:
        supply.close()


def _standing(supply: SupplyDriver, output: OutputName) -> Standing:
    own = output.output
    values = [float(supply.value(own, setting)) for setting in ("voltage", "current_limit")]
    return Standing(output, supply.read([own])[own], *values)
