"""`railwright probe` at a simulated supply: what it sends, and the bench entry that it begins."""

from __future__ import annotations

import fcntl
import json
from collections.abc import Callable
from pathlib import Path

import pytest
from ruamel.yaml import YAML
from tests.said import says
from typer.testing import Result

from railwright.documents.bench import Bench
from railwright.documents.loader import load_bench
from railwright.documents.serial_line import SerialLine
from railwright.examples import example
from railwright.twin.launcher import TwinBench

pytestmark = pytest.mark.alone


def test_it_asks_and_changes_nothing(cli: Callable[..., Result], tmp_path: Path) -> None:
    bench = load_bench(example() / "quay.bench.yaml").model
    with TwinBench(bench, mischief=()) as twins:
        address = twins.bench.supplies["left"].address
        entry = tmp_path / "left.yaml"
        alone = cli("probe", address)
        assert alone.exit_code == 0, alone.stderr
        assert "QS-362" in alone.stdout
        assert "# read:" not in alone.stdout
        more = cli("probe", address, "--dialect", "channel-list", "--to", entry)
        assert more.exit_code == 0, more.stderr
        assert "# read: ovp 38.0" in more.stdout
        again = cli("probe", address, "--to", entry)
        assert again.exit_code == 2
        assert not any(spans for spans in twins.energised().values())
    made = YAML(typ="safe").load(entry.read_text("utf-8"))["supplies"]["qs-362"]
    assert (made["address"], made["dialect"], made["model"]) == (address, "channel-list", "QS-362")
    assert set(made["outputs"][1]) >= {"voltage", "current", "ovp"}


def test_nobody_there_is_told_in_one_line(cli: Callable[..., Result]) -> None:
    result = cli("probe", "TCPIP::127.0.0.1::9::SOCKET")
    assert result.exit_code == 4
    assert len(result.stderr.strip().splitlines()) == 1


def over(address: str, line: SerialLine | None = None) -> Bench:
    """The example's first supply alone, at another address."""
    bench = load_bench(example() / "quay.bench.yaml").model
    left = bench.supplies["left"].model_copy(update={"address": address, "line": line})
    return bench.model_copy(update={"supplies": {"left": left}})


@pytest.mark.parametrize(
    ("address", "line", "options"),
    [
        ("ASRL/dev/ttyUSB0::INSTR", SerialLine(baud=57600), ("--line", "{baud: 57600}")),
        ("ASRL/dev/ttyUSB0::INSTR", None, ()),
        ("TCPIP::192.0.2.1::hislip0::INSTR", None, ()),
        ("TCPIP::192.0.2.1::hislip0::INSTR", None, ("--visa", "@py")),
    ],
)
def test_it_asks_over_every_transport(
    cli: Callable[..., Result],
    tmp_path: Path,
    address: str,
    line: SerialLine | None,
    options: tuple[str, ...],
) -> None:
    entry = tmp_path / "left.yaml"
    with TwinBench(over(address, line)) as twins:
        there = twins.addresses["left"]
        result = cli("probe", there, "--dialect", "channel-list", "--to", entry, *options)
        assert result.exit_code == 0, result.stderr
        assert "# read: ovp 38.0" in result.stdout
        assert not any(spans for spans in twins.energised().values())
    made = YAML(typ="safe").load(entry.read_text("utf-8"))["supplies"]["qs-362"]
    assert made["address"] == there
    assert made.get("line") == ({"baud": 57600} if line is not None else None)
    assert made.get("visa") == ("@py" if options[:1] == ("--visa",) else None)


@pytest.mark.parametrize(
    ("address", "line", "options"),
    [
        ("ASRL/dev/ttyUSB0::INSTR", SerialLine(baud=57600), ("--line", "{baud: 57600}")),
        (
            "ASRL/dev/ttyUSB0::INSTR",
            SerialLine(baud=38400, stop_bits=2),
            ("--line", "{baud: 38400, stop_bits: 2}"),
        ),
        ("TCPIP::192.0.2.1::hislip0::INSTR", None, ("--visa", "@py")),
    ],
)
@pytest.mark.parametrize("provoke", [(), ("--provoke", "open", "--operator", "A. Keeper")])
def test_a_dialect_is_tried_over_every_line(
    cli: Callable[..., Result],
    provoke: tuple[str, ...],
    address: str,
    line: SerialLine | None,
    options: tuple[str, ...],
) -> None:
    """What `dialect-unproved` tells to do could not be done on a line of any rate but the usual one."""
    with TwinBench(over(address, line)) as twins:
        there = twins.addresses["left"]
        result = cli("dialect", "try", "channel-list", there, "--json", *options, *provoke)
    # 4: this supply has no protection of the power, which the dialect asks for as well.
    assert result.exit_code in (0, 4), result.stderr
    assert result.stdout, result.stderr
    told = json.loads(result.stdout)
    tried = {each["operation"]: each["wrong"] for each in told["tried"]}
    assert not any(tried[each] for each in ("identify", "voltage", "output", "ovp"))
    came = {each["provoked"] for each in told.get("provoked", ()) if not each["wrong"]}
    assert came >= ({"on", "CV", "OVP", "off"} if provoke else set())


def test_a_line_in_use_is_refused(cli: Callable[..., Result]) -> None:
    with TwinBench(over("ASRL/dev/ttyUSB0::INSTR")) as twins:
        there = twins.addresses["left"]
        with open(there[4:-7], "rb") as line:
            fcntl.flock(line, fcntl.LOCK_EX)
            result = cli("probe", there)
        assert result.exit_code == 4
        assert says(result.stderr, "another program")
        assert cli("probe", there).exit_code == 0


@pytest.mark.parametrize(
    ("options", "word"),
    [
        (("ASRL/dev/ttyUSB0::INSTR", "--line", "{baud: 9601}"), "9601"),
        (("ASRL/dev/ttyUSB0::INSTR", "--line", "{speed: 9600}"), "speed"),
        (("ASRL/dev/ttyUSB0::INSTR", "--line", "{baud"), "{baud"),
        (("ASRL/dev/ttyUSB0::INSTR", "--line", "9600"), "9600"),
        (("TCPIP::192.0.2.1::5025::SOCKET", "--line", "{baud: 9600}"), "ASRL"),
        (("192.0.2.1:5025",), "VISA resource name"),
    ],
)
@pytest.mark.parametrize("command", [("probe",), ("dialect", "try", "channel-list")])
def test_what_no_line_or_address_can_be_is_one_line(
    cli: Callable[..., Result], command: tuple[str, ...], options: tuple[str, ...], word: str
) -> None:
    result = cli(*command, *options)
    assert result.exit_code == 2
    (line,) = result.stderr.strip().splitlines()
    assert word in line, line
