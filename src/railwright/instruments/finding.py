"""What there is to be reached: what the VISA library lists, what answers the standard discovery broadcasts,
and the serial devices of this computer. Nothing is opened, nothing scanned, no instrument told anything.

`… -m railwright.instruments.finding VISA` prints it, one JSON object a line, and `end` at last: it may hang
in its library, so it is a process of its own.
"""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import asdict, dataclass
from importlib.util import find_spec
from pathlib import Path
from typing import Any, Protocol

WAIT = 15.0
"""How long it may take until what was found so far is all [s]."""

BROWSE = 1.0
"""How long services have to answer [s]."""

SERVICES = {
    "_lxi._tcp.local.": "LXI",
    "_hislip._tcp.local.": "HiSLIP",
    "_vxi-11._tcp.local.": "VXI-11",
    "_scpi-raw._tcp.local.": "SCPI over a socket",
}
"""Service types of instruments in multicast DNS (LXI device specification, 10), and what each offers."""

EXTRAS = {"serial": "serial", "usb": "usb", "zeroconf": "discovery", "psutil": "discovery"}
"""Module -> the extra that brings it."""


@dataclass(frozen=True, slots=True)
class Found:
    """An address, who told of it, and what it said of itself; '' where it said nothing."""

    address: str
    by: str
    says: str = ""


def find_instruments(visa: str = "", wait: float = WAIT) -> tuple[list[Found], list[str]]:
    """What there is, each address once, and what could not be looked for, one line each."""
    command = [sys.executable, "-m", "railwright.instruments.finding", visa]
    hung = False
    try:
        done = subprocess.run(
            command,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            timeout=wait,
        )
        told = done.stdout
    except subprocess.TimeoutExpired as late:
        told, hung = late.stdout or b"", True
    found: dict[str, Found] = {}
    missing: list[str] = []
    ended = False
    for line in told.decode("utf-8", "replace").splitlines():
        with suppress(ValueError, KeyError, TypeError):
            message = json.loads(line)
            ended = ended or "end" in message
            if "missing" in message:
                missing.append(str(message["missing"]))
            if "address" in message:
                each = Found(**message)
                before = found.get(each.address.upper())
                if before is None or (each.says and not before.says):
                    found[each.address.upper()] = each
    if not ended:
        why = f"gave no answer within {wait:g} s" if hung else "ended before its time"
        missing.append(f"what looks for instruments {why}: this may not be all")
    return list(found.values()), missing


# In the process of its own


def main(visa: str = "") -> int:
    """Print what there is. The exit code."""
    for name, extra in EXTRAS.items():
        if not visa and find_spec(name) is None:
            _tell({"missing": f"{_LOOKED_FOR[name]}: not looked for; install 'railwright[{extra}]'"})
    for part in (serial_devices(), _services(), _listed(visa)):
        try:
            for each in part:
                _tell(asdict(each))
        except Exception as error:  # noqa: BLE001 - whatever one way does, the others are gone as well
            _tell({"missing": f"one way to look failed: {type(error).__name__}: {error}"[:200]})
    _tell({"end": True})
    return 0


_LOOKED_FOR = {
    "serial": "serial lines that only the VISA library knows",
    "usb": "USB",
    "zeroconf": "services in multicast DNS (LXI)",
    "psutil": "VXI-11 beyond the first network",
}


def _tell(message: dict[str, Any]) -> None:
    print(json.dumps(message), flush=True)


def serial_devices(devices: Path = Path("/dev")) -> Iterator[Found]:
    """Serial adapters, by the name that stays the same; else by their device."""
    named = {path.resolve(): path for path in sorted((devices / "serial" / "by-id").glob("*"))}
    plain = sorted([*devices.glob("ttyUSB*"), *devices.glob("ttyACM*")])
    for path in (*named.values(), *(path for path in plain if path.resolve() not in named)):
        says = path.name if path.parent.name == "by-id" else ""
        yield Found(f"ASRL{path}::INSTR", "this computer's devices", says)


def _listed(visa: str) -> Iterator[Found]:
    """What the VISA library lists; pyvisa-py asks by the port mapper's broadcast (VXI-11)."""
    import warnings

    import pyvisa

    # What is not installed is told by `main`.
    warnings.simplefilter("ignore")
    manager = pyvisa.ResourceManager(visa or "@py")
    # Others, such as the interfaces themselves, are no instruments.
    known = {f"ASRL{Path(each.address[4:-7]).resolve()}::INSTR" for each in serial_devices()}
    for address in manager.list_resources("?*"):
        if address not in known and address.upper().endswith(("::INSTR", "::SOCKET")):
            yield Found(address, f"VISA ({visa or 'pyvisa-py'})")
    manager.close()


class Service(Protocol):
    """What multicast DNS tells of a service; `zeroconf.ServiceInfo`."""

    name: str
    port: int | None

    @property
    def properties(self) -> dict[bytes, bytes | None]:
        """What is told of it besides, by its keys."""

    def parsed_addresses(self) -> list[str]:
        """Its hosts."""


def _services() -> Iterator[Found]:
    """Instruments that announce themselves in multicast DNS."""
    if find_spec("zeroconf") is None:
        return
    import time

    import zeroconf

    heard: list[tuple[str, str]] = []

    def changed(service_type: str, name: str, **_: Any) -> None:
        heard.append((service_type, name))

    with zeroconf.Zeroconf() as network:
        zeroconf.ServiceBrowser(network, list(SERVICES), handlers=[changed])
        time.sleep(BROWSE)
        for kind, name in dict.fromkeys(heard):
            told = network.get_service_info(kind, name, timeout=1000)
            if told is not None:
                yield from of_service(kind, told)


def of_service(kind: str, told: Service) -> Iterator[Found]:
    """The addresses of a service."""
    model = (told.properties.get(b"Model") or b"").decode("utf-8", "replace")
    maker = (told.properties.get(b"Manufacturer") or b"").decode("utf-8", "replace")
    says = " ".join(filter(None, (maker, model))) or told.name.removesuffix("." + kind)
    for host in told.parsed_addresses():
        at = f"[{host}]" if ":" in host else host
        if kind == "_scpi-raw._tcp.local.":
            address = f"TCPIP::{at}::{told.port}::SOCKET"
        elif kind == "_hislip._tcp.local.":
            port = "" if told.port in (None, 4880) else f",{told.port}"
            address = f"TCPIP::{at}::hislip0{port}::INSTR"
        else:
            address = f"TCPIP::{at}::INSTR"
        yield Found(address, f"multicast DNS ({SERVICES[kind]})", says)


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
