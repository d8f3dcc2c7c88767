"""Addresses: the VISA library says what is a resource name, the guard agrees with it on what is a socket."""

from __future__ import annotations

import ast
import os
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pyvisa import rname
from tests.bench import BENCH, copy_demo, edit

import railwright.guard.address
from railwright.documents.address import PLAIN, visa_address
from railwright.documents.loader import load_bench, load_documents
from railwright.documents.sources import DocumentErrors
from railwright.guard.address import socket_of

SETTINGS = "railwright.guard.session_settings"
"""Of the guard itself, and of the standard library alone as it is."""

SOCKETS = {
    "TCPIP::192.0.2.10::5025::SOCKET": ("192.0.2.10", 5025),
    "TCPIP0::192.0.2.10::1::SOCKET": ("192.0.2.10", 1),
    "TCPIP12::supply-3.example::65535::SOCKET": ("supply-3.example", 65535),
    "tcpip::localhost::5025::SOCKET": ("localhost", 5025),
    "TCPIP::[fe80]::5025::SOCKET": ("fe80", 5025),
}
OTHERS = (
    "TCPIP::192.0.2.10",
    "TCPIP::192.0.2.10::INSTR",
    "TCPIP0::192.0.2.10::inst0::INSTR",
    "TCPIP::192.0.2.10::hislip0,4880::INSTR",
    "USB::0x1234::0x5678::SN-7",
    "USB0::0x1234::0x5678::SN-7::INSTR",
    "USB0::4660::22136::SN-7::0::INSTR",
    "USB0::0x1234::0x5678::SN-7::RAW",
    "GPIB::5",
    "GPIB0::5::INSTR",
    "GPIB1::5::12::INSTR",
    "GPIB0::INTFC",
    "ASRL1::INSTR",
    "ASRL/dev/ttyUSB0::INSTR",
    "ASRL::INSTR",
    "PXI0::3::BACKPLANE",
    "PXI::MEMACC",
    "VXI0::24::INSTR",
    "VXI0::24::BACKPLANE",
    "VXI::MEMACC",
    "VXI::SERVANT",
    "VICP::192.0.2.10::INSTR",
    "PRLGX-ASRL0::/dev/ttyUSB0::INTFC",
    "PRLGX-TCPIP::192.0.2.10::1234::INTFC",
)
NONE = (
    "TCPIP",
    "TCPIP::",
    "TCPIP::SOCKET",
    "TCPIP::192.0.2.10::SOCKET",
    "TCPIP::::5025::SOCKET",
    "TCPIP::192.0.2.10:5025::SOCKET",
    "TCPIP::192.0.2.10::5025::SOCKET::INSTR",
    "TCPIP::192.0.2.10::5025::STREAM",
    "TCPIP:192.0.2.10:5025:SOCKET",
    "USB::0x1234::0x5678",
    "USB0::0x1234::0x5678::INSTR",
    "GPIB",
    "GPIB0::INSTR",
    "ASRL",
    "COM3",
    "VICP",
    "PXI0::3::INSTR",
    "192.0.2.10",
    "192.0.2.10:5025",
    "http://192.0.2.10:80",
    "SOCKET",
    "left",
)
BAD_SOCKETS = (
    "TCPIP::192.0.2.10::0::SOCKET",
    "TCPIP::192.0.2.10::65536::SOCKET",
    "TCPIP::192.0.2.10::-1::SOCKET",
    "TCPIP::192.0.2.10::scpi::SOCKET",
    "TCPIP::no host::5025::SOCKET",
    "TCPIPx::192.0.2.10::5025::SOCKET",
)
"""Names by the library's grammar, which looks at no host, port or board; no socket can be opened at them."""

ONLY_THE_GUARDS = {
    "TCPIP::[2001:db8::7]::5025::SOCKET": ("2001:db8::7", 5025),
    "tcpip0::192.0.2.10::5025::socket": ("192.0.2.10", 5025),
    " TCPIP::192.0.2.10::5025::SOCKET ": ("192.0.2.10", 5025),
}
"""What the guard opens as sockets of its own although the library cannot read it: `::` within a host, a class
in small letters (VISA names have no case), spaces around.
"""


def library(address: str) -> rname.ResourceName | None:
    """What the VISA library makes of it; None where it is no name."""
    try:
        return rname.parse_resource_name(address)
    except (rname.InvalidResourceName, IndexError):
        return None


@pytest.mark.parametrize(("address", "place"), SOCKETS.items())
def test_guard_and_library_read_the_same_socket(address: str, place: tuple[str, int]) -> None:
    name = library(address)
    assert isinstance(name, rname.TCPIPSocket)
    assert (name.host_address.strip("[]"), int(name.port)) == place
    assert socket_of(address) == place
    assert visa_address(address) == address


@pytest.mark.parametrize("address", OTHERS)
def test_what_the_library_reads_as_another_kind_is_no_socket_of_the_guard(address: str) -> None:
    name = library(address)
    assert name is not None
    assert not isinstance(name, rname.TCPIPSocket)
    assert socket_of(address) is None
    assert visa_address(address) == address


def test_the_table_has_every_kind_that_the_library_knows() -> None:
    kinds = {type(library(address)) for address in (*SOCKETS, *OTHERS)}
    assert kinds == set(rname.ResourceName.__subclasses__())


@pytest.mark.parametrize("address", NONE)
def test_what_the_library_cannot_read_is_none_of_the_guards_either(address: str) -> None:
    assert library(address) is None
    assert socket_of(address) is None
    with pytest.raises(ValueError, match=r"^expected a VISA resource name such as '.*', got '") as caught:
        visa_address(address)
    assert str(caught.value).endswith(f"got '{address}'")


@pytest.mark.parametrize("address", BAD_SOCKETS)
def test_a_socket_that_cannot_be_opened_is_refused_although_the_library_reads_it(address: str) -> None:
    assert isinstance(library(address), rname.TCPIPSocket)
    assert socket_of(address) is None
    with pytest.raises(ValueError, match=r"^expected a host without spaces and a port from 1 to 65535"):
        visa_address(address)


@pytest.mark.parametrize(("address", "place"), ONLY_THE_GUARDS.items())
def test_what_only_the_guard_reads_is_no_fault(address: str, place: tuple[str, int]) -> None:
    assert library(address) is None
    assert socket_of(address) == place
    assert visa_address(address) == address


@pytest.mark.parametrize(
    ("address", "forms"),
    [
        ("usb::1", "'USB::0x1234::0x5678::SERIAL::INSTR'"),
        ("GPIB0", "'GPIB0::5::INSTR'"),
        ("TCPIP::h::SOCKET", "'TCPIP::192.0.2.10::5025::SOCKET' or 'TCPIP::192.0.2.10::INSTR'"),
    ],
)
def test_the_message_shows_a_name_of_the_interface_that_is_meant(address: str, forms: str) -> None:
    with pytest.raises(ValueError, match="expected a VISA resource name") as caught:
        visa_address(address)
    assert str(caught.value) == f"expected a VISA resource name such as {forms}, got '{address}'"


PIECES = st.sampled_from(
    ["TCPIP", "USB0", "GPIB", "ASRL", "VICP", "::", ":", "h", "5025", "SOCKET", "INSTR", " "]
)


@given(st.one_of(st.text(max_size=40), st.lists(PIECES, max_size=9).map("".join)))
def test_any_text_is_an_address_or_refused_in_one_line(text: str) -> None:
    if socket_of(text) is not None or (library(text) and not isinstance(library(text), rname.TCPIPSocket)):
        assert visa_address(text) == text
        return
    with pytest.raises(ValueError, match=r"\Aexpected .*\Z"):
        visa_address(text)


@given(st.from_regex(PLAIN, fullmatch=True))
def test_what_is_taken_unasked_is_a_name_for_the_library_too(address: str) -> None:
    name = library(address)
    assert name is not None
    assert (name.resource_class, visa_address(address)) == ("INSTR", address)


def test_check_refuses_it_at_its_place_with_what_was_expected(tmp_path: Path) -> None:
    procedure = copy_demo(tmp_path)
    edit(tmp_path / BENCH, "TCPIP::127.0.0.1::5025::SOCKET", "TCPIP::127.0.0.1:5025")
    lines = (tmp_path / BENCH).read_text("utf-8").splitlines()
    (number,) = (n for n, line in enumerate(lines, 1) if "127.0.0.1:5025" in line)
    column = lines[number - 1].index("TCPIP") + 1
    edit(tmp_path / BENCH, "TCPIP::127.0.0.1:5025", "TCPIP::127.0.0.1::0::SOCKET")
    with pytest.raises(DocumentErrors) as caught:
        load_documents(procedure)
    assert str(caught.value) == (
        f"{tmp_path / BENCH}:{number}:{column}: expected a host without spaces and a port from 1 to 65535 "
        "in a name such as 'TCPIP::192.0.2.10::5025::SOCKET', got 'TCPIP::127.0.0.1::0::SOCKET'"
    )
    edit(tmp_path / BENCH, "TCPIP::127.0.0.1::0::SOCKET", "127.0.0.1:5025")
    with pytest.raises(DocumentErrors) as caught:
        load_bench(tmp_path / BENCH)
    (problem,) = caught.value.problems
    assert (problem.location.line, problem.location.column) == (number, column)
    assert problem.message == (
        "expected a VISA resource name such as 'TCPIP::192.0.2.10::5025::SOCKET', "
        "'USB::0x1234::0x5678::SERIAL::INSTR', 'GPIB0::5::INSTR' or 'ASRL/dev/ttyUSB0::INSTR', "
        "got '127.0.0.1:5025'"
    )


def test_the_guard_reads_addresses_with_the_standard_library_alone() -> None:
    tree = ast.parse(Path(railwright.guard.address.__file__).read_text("utf-8"))
    names = {
        (node.module or "") if isinstance(node, ast.ImportFrom) else alias.name
        for node in ast.walk(tree)
        if isinstance(node, ast.Import | ast.ImportFrom)
        for alias in node.names
    }
    assert {name.split(".")[0] for name in names - {SETTINGS}} <= sys.stdlib_module_names


@pytest.mark.slow
@pytest.mark.parametrize("address", ["TCPIP::127.0.0.1::5025::SOCKET", "USB0::0x1234::0x5678::SN-7::INSTR"])
def test_a_bench_with_plain_addresses_waits_for_no_library(tmp_path: Path, address: str) -> None:
    copy_demo(tmp_path)
    edit(tmp_path / BENCH, "TCPIP::127.0.0.1::5025::SOCKET", address)
    code = (
        "import sys; from railwright.documents.loader import load_bench\n"
        f"load_bench({BENCH!r}); print('pyvisa' in sys.modules)"
    )
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, sys.path))}
    command = [sys.executable, "-c", code]
    done = subprocess.run(command, cwd=tmp_path, env=environment, capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"
