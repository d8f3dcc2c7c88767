"""The communication watchdog of a supply: set, switched on and verified, and how it is switched off again."""

from __future__ import annotations

from railwright.dialects.units import compose
from railwright.instruments.errors import InstrumentError
from railwright.instruments.session import Answer
from railwright.instruments.supply import SupplyDriver

TOLERANCE = 0.01
"""Part by which the time that reads back may differ from the one that was set."""


def has_watchdog(supply: SupplyDriver) -> bool:
    """Whether the bench names one and the dialect can set it."""
    return supply.document.watchdog is not None and supply.dialect.watchdog is not None


def ask(supply: SupplyDriver) -> Answer:
    """The exchange that asks for its time and state."""
    return supply.exchange(supply.dialect.watchdog_queries())[1]


def arm(supply: SupplyDriver, time: float) -> None:
    """Set its time [s], switch it on, and ask both back. Raises InstrumentError."""
    supply.do(supply.dialect.watchdog_units(time))
    units = supply.dialect.watchdog_queries()
    answers, answer = supply.exchange(units)
    try:
        got = supply.dialect.understood_watchdog(*answers)
    except (ValueError, TypeError):
        raise InstrumentError(
            supply.name, compose(units), f"expected time and state of its watchdog, got '{answer.text}'"
        ) from None
    if got is None or not abs(got - time) <= TOLERANCE * time:
        read = "off" if got is None else f"{got:g} s"
        raise InstrumentError(
            supply.name, compose(units), f"its watchdog was set to {time:g} s and reads back as {read}"
        )


def off_messages(supply: SupplyDriver) -> tuple[str, ...]:
    """Messages that switch it off, and last one that asks for its state alone."""
    *_, state = supply.dialect.watchdog_queries()
    return (*supply.messages(supply.dialect.watchdog_units(None)), state)
