"""A number of which the dialect's digits make another one is not sent."""

from __future__ import annotations

import pytest
from tests.instruments.test_every_dialect import never

from railwright.dialects.dialect import load_dialect
from railwright.dialects.files import dialect_text
from railwright.dialects.operation import Setting
from railwright.documents.dialect_files import read_dialect
from railwright.instruments.errors import InstrumentError
from railwright.instruments.supply import OutputSetting, SupplyDriver
from railwright.running.provoke import ITS_OUTPUT, bare_supply


def told(setting: Setting, value: float, digits: int) -> str:
    text, header = dialect_text("channel-list"), load_dialect("channel-list").settings[setting].command
    old = f"  {setting}: {header}"
    assert f"{old} " in text or f"{old}\n" in text
    new = f'  {setting}: {{command: "{header}", query: "{header}?", digits: {digits}}}'
    dialect = read_dialect(text.replace(old, new, 1), "mine.yaml")
    supply = SupplyDriver("left", bare_supply(dialect, "nowhere", 1, 1.0, 0.1), never)
    return supply.told([OutputSetting(ITS_OUTPUT, setting, value)])[0]


@pytest.mark.parametrize(
    ("setting", "value", "digits"),
    [("trip_delay", 0.04, 0), ("trip_delay", 0.04, 1), ("ocp", 0.9, 0), ("opp", 0.4, 0), ("ovp", 2.5, 0),
     ("current_limit", 0.5, 0), ("voltage", 3.3, 0)],
)  # fmt: skip
def test_a_number_that_its_digits_change_is_not_sent(setting: Setting, value: float, digits: int) -> None:
    """40 ms were sent as 0, the supply took its shortest, and the record said 40 ms."""
    with pytest.raises(InstrumentError, match="too few digits"):
        told(setting, value, digits)


@pytest.mark.parametrize(
    ("setting", "value", "digits", "sent"),
    [("trip_delay", 2.0, 0, "2"), ("trip_delay", 0.04, 2, "0.04"), ("voltage", 3.3004, 3, "3.300"),
     ("voltage", 0.0004, 3, "0.000"), ("current_limit", 0.50004, 4, "0.5000")],
)  # fmt: skip
def test_what_its_digits_only_round_is_sent(setting: Setting, value: float, digits: int, sent: str) -> None:
    assert f" {sent}," in told(setting, value, digits)
