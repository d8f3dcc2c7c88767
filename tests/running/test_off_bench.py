"""What `railwright off` makes of the addresses in a bench document."""

from __future__ import annotations

from pathlib import Path

import pytest

from railwright.dialects.files import dialect_text
from railwright.guard.off_plan import ContactOff, OffPlan
from railwright.running.off_bench import only, plan_of, read_bench, read_relays

BENCH = """\
supplies:
  left:
    address: {address}
    dialect: channel-list
    outputs: {{1: {{}}}}
"""


@pytest.mark.parametrize(
    "address",
    [
        "TCPIP::192.0.2.10::hislip0,4880::INSTR",
        "'TCPIP::192.0.2.10::hislip0,4880::INSTR'",
        "TCPIP::192.0.2.10::gpib0,5::INSTR",
        "ASRL/dev/serial/by-path/pci-0000:00:14.0-usb-0:2:1.0-port0::INSTR",
        "ASRL./left.tty::INSTR  # a pseudo-terminal",
    ],
)
def test_an_address_is_read_once_whatever_is_in_it(tmp_path: Path, address: str) -> None:
    """The part before a comma was taken for another supply that nobody can switch off: exit code 6."""
    (only,) = read_bench(BENCH.format(address=address), tmp_path)
    assert only.name == "left"
    assert only.plan is not None
    assert only.address == address.partition("  #")[0].strip("'")


def test_an_address_in_a_broken_line_is_still_missed(tmp_path: Path) -> None:
    text = BENCH.format(address="TCPIP::192.0.2.10::5025::SOCKET")
    broken = text + "  right: {address: TCPIP::192.0.2.11::hislip0,4880::INSTR, dialect: [\n"
    found = read_bench(broken, tmp_path)
    assert [each.address for each in found if each.name == "?"] in (
        [],
        ["TCPIP::192.0.2.11::hislip0,4880::INSTR"],
    )
    assert {each.address for each in found} >= {"TCPIP::192.0.2.10::5025::SOCKET"}


SECTIONS = ["multimeters", "electronic_loads", "relays"]


@pytest.mark.parametrize("section", SECTIONS)
@pytest.mark.parametrize(
    "entry",
    [
        "{address: TCPIP::192.0.2.30::5025::SOCKET, aperture: 20 ms}",
        "{address: ASRL/dev/ttyUSB0::INSTR}",
        "\n    address: 'TCPIP::192.0.2.30::hislip0,4880::INSTR'\n    interval: 50 ms",
    ],
)
def test_an_instrument_without_outputs_is_no_supply_that_was_missed(
    section: str, entry: str, tmp_path: Path
) -> None:
    """Of a whole document with a multimeter, `railwright off` said that it is broken: exit code 6."""
    text = BENCH.format(address="TCPIP::192.0.2.10::5025::SOCKET")
    for whole in (f"{text}{section}:\n  one: {entry}\n", f"{section}:\n  one: {entry}\n{text}"):
        assert [each.name for each in read_bench(whole, tmp_path)] == ["left"]


@pytest.mark.parametrize("section", SECTIONS)
def test_a_supply_that_slipped_among_them_is_missed(section: str, tmp_path: Path) -> None:
    text = BENCH.format(address="TCPIP::192.0.2.10::5025::SOCKET")
    slipped = "  right: {address: TCPIP::192.0.2.11::5025::SOCKET, dialect: channel-list, outputs: {1: {}}}\n"
    found = read_bench(f"{text}{section}:\n{slipped}", tmp_path)
    assert [each.address for each in found if each.name == "?"] == ["TCPIP::192.0.2.11::5025::SOCKET"]


MASTERED = """\
supplies:
  left:
    address: TCPIP::192.0.2.10::5025::SOCKET
    dialect: DIALECT
    outputs: {1: {}, 2: {}}
  right:
    address: TCPIP::192.0.2.11::5025::SOCKET
    dialect: channel-list
    outputs: {1: {}}
"""
ALL = frozenset({"left.1", "left.2", "right.1"})


@pytest.mark.parametrize(
    ("dialect", "off", "first"),
    [("prefixed", "SYSTem:OUTPut:STATe OFF", False), ("numbered-header", "SYSTem:RELease OFF", True)],
)
def test_a_master_switch_goes_off_where_all_outputs_of_its_supply_do(
    dialect: str, off: str, first: bool, tmp_path: Path
) -> None:
    supplies = read_bench(MASTERED.replace("DIALECT", dialect), tmp_path)
    whole = plan_of(supplies, ALL)
    left, right = whole.supply("left"), whole.supply("right")
    assert (left.master, left.master_first, left.master_state) == ((off,), first, (6, 0))
    assert (right.master, right.master_state) == ((), None)
    asked = [unit for line in left.look for unit in line.split(";") if "?" in unit]
    assert asked[6].removeprefix(":") == off.partition(" ")[0] + "?"
    for names in (frozenset({"left.1"}), frozenset({"left.2", "right.1"})):
        part = plan_of(supplies, names).supply("left")
        assert (part.master, part.master_first) == ((), False)
        assert part.master_state == (6, 0)  # it is asked for all the same
    assert OffPlan.from_json(whole.to_json()) == whole


@pytest.mark.parametrize("dialect", ["prefixed", "numbered-header"])
def test_a_part_of_a_runs_plan_leaves_the_master_switch_of_the_rest_alone(
    dialect: str, tmp_path: Path
) -> None:
    whole = plan_of(read_bench(MASTERED.replace("DIALECT", dialect), tmp_path), ALL)
    assert only(whole, frozenset({"left.1", "right.1"})).supply("left").master == ()
    kept = only(whole, frozenset({"left.1", "left.2"})).supply("left")
    assert kept.master == whole.supply("left").master


@pytest.mark.parametrize("entry", ["{switch: [1, 2]}", "{}", "[]", "{switch: {command: A}}"])
def test_a_master_switch_that_cannot_be_read_holds_up_no_output(entry: str, tmp_path: Path) -> None:
    own = dialect_text("channel-list").replace("dialect: channel-list", "dialect: own", 1)
    (tmp_path / "own.dialect.yaml").write_text(f"{own}\nmaster: {entry}\n", "utf-8")
    supplies = read_bench(MASTERED.replace("DIALECT", "own"), tmp_path)
    plan = plan_of(supplies, ALL)
    assert [each.name for each in plan.inputs] == ["left.1", "left.2", "right.1"]
    assert plan.supply("left").master == ()


RELAYS = """\
relays:
  box:
    address: {address}
    contacts:
      gate: {{channel: 101, fixture: F, without_power: open, under_load: yes}}
      vent: {{channel: 7, fixture: G, without_power: closed, voltage: nonsense}}
"""


def test_contacts_are_known_with_what_they_rest_on() -> None:
    """All outputs of the bench, as the bench does not say which carries them, and no rating is believed."""
    text = BENCH.format(address="TCPIP::192.0.2.10::5025::SOCKET")
    (box,) = read_relays(text + RELAYS.format(address="TCPIP::192.0.2.30::5025::SOCKET"))
    assert (box.address, box.identity) == ("TCPIP::192.0.2.30::5025::SOCKET", "")
    assert box.contacts == (
        ContactOff(
            "gate", ("left.1",), "ROUTe:OPEN (@101)", "ROUTe:CLOSe? (@101)", ("0", "OFF"), "open", False
        ),
        ContactOff(
            "vent", ("left.1",), "ROUTe:CLOSe (@7)", "ROUTe:CLOSe? (@7)", ("1", "ON"), "closed", False
        ),
    )


@pytest.mark.parametrize(
    ("old", "new", "left"),
    [
        ("channel: 101", "channel: gate", ["vent"]),
        ("without_power: open", "without_power: both", ["vent"]),
        ("without_power: open, ", "", ["vent"]),
        ("    address: {address}\n", "", []),
        ("    contacts:", "    contacts: [", ["gate", "vent"]),
        ("relays:", "relay:", []),
    ],
)
def test_what_cannot_be_read_of_a_contact_holds_nobody_up(old: str, new: str, left: list[str]) -> None:
    text = BENCH.format(address="TCPIP::192.0.2.10::5025::SOCKET")
    broken = RELAYS.replace(old, new).format(address="ASRL/dev/ttyUSB0::INSTR")
    found = read_relays(text + broken)
    assert [own.name for each in found for own in each.contacts] == left


TWO = (
    "supplies:\n"
    "  left:\n    address: TCPIP::192.0.2.10::5025::SOCKET\n    dialect: channel-list\n    outputs: {1: {}}\n"
    "  right:\n    address: TCPIP::192.0.2.11::5025::SOCKET\n"
    "    dialect: channel-list\n    outputs: {1: {}}\n"
)


@pytest.mark.parametrize(
    ("old", "new", "off"),
    [
        ("channel-list\n", "channel-list\n    - model: QS-362\n", 2),
        ("channel-list\n", "channel-list\n    -  model: QS-362\n", 2),
        ("  left:\n", "  - left:\n", 1),
        ("  right:\n", "  - right:\n", 1),
        ("supplies:", "- supplies:", 0),
        ("supplies:", "note:\n\u00a0- one\nsupplies:", 2),
        ("supplies:", "note: \u2003- one\nsupplies:", 2),
        ("supplies:", f"notes: {'[' * 3000}\nsupplies:", 2),
        ("supplies:", f"notes: {'{a: ' * 3000}\nsupplies:", 2),
        ("  left:\n", "  - left:\n  - ", 0),
    ],
)
def test_a_stray_dash_or_bracket_loses_no_supply(old: str, new: str, off: int, tmp_path: Path) -> None:
    """Each address is named; so many supplies can be switched off."""
    found = read_bench(TWO.replace(old, new, 1), tmp_path)
    assert {each.address for each in found} == {f"TCPIP::192.0.2.{end}::5025::SOCKET" for end in (10, 11)}
    assert sum(each.plan is not None for each in found) >= off


HARM = [
    "OUTPut:STATe ON,(@1)",
    " OUTPut:STATe ON,(@1)",
    "\\tOUTP ON",
    "*RST",
    "*RCL 1",
    "SYSTem:PRESet",
    "VOLT 5,(@1)",
    "INSTrument:SELect UNIT2",
    "DISP:TEXT 1;OUTP ON",
]


@pytest.mark.parametrize("key", ["opening", "closing"])
@pytest.mark.parametrize("harm", HARM)
def test_what_a_dialect_has_sent_with_a_session_is_left_out_where_it_could_change_an_output(
    key: str, harm: str, tmp_path: Path
) -> None:
    """The file is read as it stands, and nobody has checked it since it was written."""
    text = dialect_text("channel-list").replace(
        "\ninstrument: ", f'\nsession: {{{key}: [SYSTem:REMote, "{harm}"]}}\n\ninstrument: ', 1
    )
    (tmp_path / "mine.dialect.yaml").write_text(text.replace("dialect: channel-list", "dialect: mine"))
    bench = BENCH.format(address="TCPIP::192.0.2.10::5025::SOCKET")
    (supply,) = read_bench(bench.replace("channel-list", "mine.dialect.yaml"), tmp_path)
    assert supply.plan is not None
    sent = getattr(supply.plan.session_settings, key)
    assert [each.text for each in sent] == ["SYSTem:REMote"]
