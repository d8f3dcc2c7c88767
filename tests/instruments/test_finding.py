"""What there is to be reached: announced services, serial devices, and a library that hangs."""

from __future__ import annotations

import socket
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from zeroconf import ServiceInfo, Zeroconf

from railwright.instruments.finding import Found, find_instruments, of_service, serial_devices

HOST = "127.0.0.1"


@dataclass
class Told:
    """What multicast DNS tells of a service."""

    name: str
    port: int | None
    hosts: list[str]
    properties: dict[bytes, bytes | None] = field(default_factory=dict)

    def parsed_addresses(self) -> list[str]:
        return self.hosts


@pytest.mark.parametrize(
    ("kind", "port", "addresses"),
    [
        ("_lxi._tcp.local.", 80, ["TCPIP::192.0.2.7::INSTR"]),
        ("_vxi-11._tcp.local.", 111, ["TCPIP::192.0.2.7::INSTR"]),
        ("_hislip._tcp.local.", 4880, ["TCPIP::192.0.2.7::hislip0::INSTR"]),
        ("_hislip._tcp.local.", 4881, ["TCPIP::192.0.2.7::hislip0,4881::INSTR"]),
        ("_scpi-raw._tcp.local.", 5025, ["TCPIP::192.0.2.7::5025::SOCKET"]),
    ],
)
def test_a_service_is_an_address(kind: str, port: int, addresses: list[str]) -> None:
    told = Told(f"Quay supply.{kind}", port, ["192.0.2.7"])
    found = list(of_service(kind, told))
    assert [each.address for each in found] == addresses
    assert {each.says for each in found} == {"Quay supply"}
    told.properties = {b"Manufacturer": b"Example", b"Model": b"QS-362", b"SerialNumber": None}
    assert {each.says for each in of_service(kind, told)} == {"Example QS-362"}
    told.hosts = ["192.0.2.7", "fe80::1"]
    assert len(list(of_service(kind, told))) == 2
    assert "[fe80::1]" in list(of_service(kind, told))[1].address


def test_serial_devices_go_by_the_name_that_stays(tmp_path: Path) -> None:
    for name in ("ttyUSB0", "ttyUSB1", "ttyACM0", "tty1", "null"):
        (tmp_path / name).touch()
    by_id = tmp_path / "serial" / "by-id"
    by_id.mkdir(parents=True)
    (by_id / "usb-adapter-0117").symlink_to("../../ttyUSB1")
    assert [(each.address, each.says) for each in serial_devices(tmp_path)] == [
        (f"ASRL{by_id}/usb-adapter-0117::INSTR", "usb-adapter-0117"),
        (f"ASRL{tmp_path}/ttyACM0::INSTR", ""),
        (f"ASRL{tmp_path}/ttyUSB0::INSTR", ""),
    ]


def test_what_is_given_up_is_said() -> None:
    found, missing = find_instruments(wait=0.05)
    assert found == []
    assert any("0.05 s" in line for line in missing)


def test_a_library_that_is_not_there_is_said(tmp_path: Path) -> None:
    _, missing = find_instruments(str(tmp_path / "libvisa.so"))
    assert any("failed" in line for line in missing)


@pytest.fixture
def announced() -> Iterator[tuple[int, socket.socket]]:
    """An instrument that announces a socket, and that socket."""
    with socket.create_server((HOST, 0)) as server, Zeroconf(interfaces=[HOST]) as network:
        port = server.getsockname()[1]
        for kind in ("_lxi._tcp.local.", "_scpi-raw._tcp.local."):
            network.register_service(
                ServiceInfo(
                    kind,
                    f"Quay supply.{kind}",
                    port,
                    addresses=[socket.inet_aton(HOST)],
                    properties={"Manufacturer": "Example", "Model": "QS-362"},
                    server="quay-supply.local.",
                )
            )
        server.settimeout(0.2)
        yield port, server


@pytest.mark.alone
def test_an_instrument_that_announces_itself_is_found_and_not_touched(
    announced: tuple[int, socket.socket],
) -> None:
    port, server = announced
    found, missing = find_instruments()
    assert not [each for each in missing if "discovery" in each]  # what else is missing is an extra
    by = "multicast DNS (SCPI over a socket)"
    assert Found(f"TCPIP::{HOST}::{port}::SOCKET", by, "Example QS-362") in found
    assert f"TCPIP::{HOST}::INSTR" in [each.address for each in found]
    with pytest.raises(TimeoutError):
        server.accept()
