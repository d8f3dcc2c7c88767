"""Point lists as numbers, as a block and as a file, in virtual time: loaded, asked back, played."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.bench import replaced
from tests.instruments.test_provoking import network_of

from railwright.dialects.dialect import Dialect, DialectError, load_dialect
from railwright.dialects.files import dialect_names, dialect_text
from railwright.documents.dialect_files import read_dialect
from railwright.guard.local_link import LocalLink
from railwright.instruments import lists
from railwright.instruments.errors import InstrumentError
from railwright.instruments.guarded import open_guarded
from railwright.instruments.lists import OwnList
from railwright.instruments.supply import OutputSetting, SupplyDriver
from railwright.scpi.blocks import decode_block, encode_block
from railwright.twin.virtual_network import VirtualNetwork

LISTED = tuple(name for name in dialect_names() if load_dialect(name).points is not None)
FORMS = {
    "channel-list": "points",
    "selected-output": "points",
    "named-output": "block",
    "numbered-header": "file",
}
OWN = OwnList("1", (5.0, 7.5, 6.0), (0.1, 0.2, 0.3), 1, "step")


@contextmanager
def driven(
    speaks: str, dialect: Dialect | None = None
) -> Iterator[tuple[SupplyDriver, VirtualNetwork, LocalLink]]:
    with network_of(speaks, "open") as (loop, network, _):
        document = network.bench.supplies["left"]
        if dialect is not None:
            document = document.model_copy(update={"dialect": dialect})
        link = LocalLink(loop, network.connect)
        supply = SupplyDriver("left", document, open_guarded(link))
        supply.connect()
        supply.identify()
        supply.clear()
        yield supply, network, link
        link.close()


@pytest.mark.parametrize("name", LISTED)
def test_a_list_is_loaded_asked_back_and_played_in_every_form(name: str) -> None:
    points = load_dialect(name).points
    assert points is not None
    assert points.written == FORMS[name]
    with driven(name) as (supply, network, link):
        lists.load(supply, OWN)
        twin = network.servers["left"].supply
        panel = twin.panels[0]
        assert panel.points.voltages == pytest.approx([5.0, 7.5, 6.0])
        assert panel.points.dwells == pytest.approx([0.1, 0.2, 0.3])
        assert twin.panels[1].points.voltages == []
        supply.put([OutputSetting("1", "current_limit", 0.1)])
        if supply.has_master:
            supply.switch_master(True)
        lists.arm(supply, "1")
        supply.put([OutputSetting("1", "output", True)])
        began = link.now()
        lists.start(supply, ["1"])
        assert link.now() - began < 0.05, "a query that waits would wait until the list is over"
        link.sleep(0.2)
        assert network.voltage("left.1") == pytest.approx(7.5, abs=0.1)
        supply.switch_off(["1"])


@pytest.mark.parametrize("name", LISTED)
@pytest.mark.parametrize("form", ["points", "block"])
def test_a_form_that_the_supply_does_not_take_is_found_while_all_is_off(name: str, form: str) -> None:
    """A user's dialect says it otherwise than the supply has it."""
    dialect = load_dialect(name)
    assert dialect.points is not None
    if form == FORMS[name]:
        return
    points = dialect.points.model_copy(update={"written": form, "file": None})
    with driven(name, dialect.model_copy(update={"points": points})) as (supply, network, _):
        with pytest.raises(InstrumentError):
            lists.load(supply, OWN)
        assert not network.on("left.1")


@pytest.mark.parametrize(
    ("old", "new"),
    [("MMEMory:DATA", "MMEMory:DATE"), ("LIST:LOAD", "LIST:LOUD"), ("POINTS{channel}", "POINTS {channel}")],
)
def test_an_entry_of_a_file_that_is_wrong_is_found(old: str, new: str) -> None:
    changed = replaced(dialect_text("numbered-header"), (old, new))
    if new.startswith("POINTS"):
        with pytest.raises(DialectError, match=r"69:11: .*POINTS"):
            read_dialect(changed, "mine.yaml")
        return
    own = read_dialect(changed, "mine.yaml")
    with driven("numbered-header", own) as (supply, _, _), pytest.raises(InstrumentError):
        lists.load(supply, OWN)


def test_a_list_that_the_instrument_does_not_take_over_is_found() -> None:
    """The file is written, and its points are read back from the output, where they are played from."""
    with driven("numbered-header") as (supply, network, _):
        panel = network.servers["left"].supply.panels[0]
        lists.load(supply, OWN)
        panel.points.voltages[1] = 8.0
        with pytest.raises(InstrumentError, match=r"7\.5 of point 2"):
            lists._expect_numbers(supply, OWN, "SOURce{channel}:LIST:VOLTage", OWN.voltages, "voltage")


@pytest.mark.parametrize(
    ("edit", "told"),
    [
        (("  written: file  ", "  written: points"), "'file' with 'written: file'"),
        (("  written: file  ", "  written: tape  "), "'points', 'block' or 'file'"),
        (("    data: MMEMory:DATA\n", ""), "data"),
    ],
)
def test_a_file_that_cannot_be_is_told(edit: tuple[str, str], told: str) -> None:
    text = dialect_text("numbered-header")
    assert edit[0] in text
    with pytest.raises(DialectError) as raised:
        read_dialect(text.replace(*edit), "mine.yaml")
    assert told in str(raised.value)


@settings(max_examples=60)
@given(data=st.binary(max_size=2000), behind=st.binary(max_size=5))
def test_a_block_is_read_as_it_was_written(data: bytes, behind: bytes) -> None:
    """IEEE 488.2, 7.7.6.2: #, how many digits the length has, the length, the data."""
    written = encode_block(data)
    digits = len(str(len(data)))
    assert written[: 2 + digits] == f"#{digits}{len(data)}".encode("ascii")
    assert decode_block(written + behind) == (data, len(written))
