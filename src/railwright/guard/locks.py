"""One run, one bench: locks that the kernel lets go of when their holder dies, however it dies.

An instrument is locked by its address, then by who it says it is, because one instrument can be reached at
several addresses. Runs on this computer see each other so; another computer can only be noticed.
"""

from __future__ import annotations

import fcntl
import hashlib
import json
import os
import socket
from contextlib import suppress
from pathlib import Path
from typing import Any

from railwright.guard.address import device_of, hislip_of, socket_of

RUNTIME = "RAILWRIGHT_RUNTIME"
"""Names the folder for locks and off plans, where the system's folder for temporary files is not to do."""


class Locked(Exception):
    """Another run holds it, or no lock can be had; one line that says which."""


def runtime_folder() -> Path:
    """Where locks and off plans lie while runs go on: one place for all users of the computer."""
    given = os.environ.get(RUNTIME)
    if not given:
        import tempfile

        given = os.path.join(tempfile.gettempdir(), "railwright")
    folder = Path(given)
    # One that cannot be had is told by who is refused a lock there, with the reason.
    with suppress(OSError):
        folder.mkdir(parents=True)
        folder.chmod(0o1777)
    return folder


def normalised(address: str) -> str:
    """One spelling for addresses that lead to the same socket, line or HiSLIP server; of such a spelling,
    itself.
    """
    device, hislip = device_of(address), hislip_of(address)
    if device is not None:
        return f"ASRL{os.path.realpath(device)}"
    place, name = socket_of(address), ""
    if hislip is not None:
        place, name = (hislip.host, hislip.port), f"/{hislip.name}"
    if place is None:
        return address.strip().upper()
    host, port = place
    # A name that can be none ends in UnicodeError.
    with suppress(OSError, UnicodeError):
        host = str(socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)[0][4][0])
    return f"{host}:{port}{name}".upper()


def lock_path(what: str, folder: Path) -> Path:
    """The lock file of an address or an instrument."""
    return folder / f"{hashlib.sha256(what.encode()).hexdigest()[:24]}.lock"


def holder_of(address: str, folder: Path) -> dict[str, Any] | None:
    """What the holder of an address wrote into its lock; None where nobody holds it."""
    try:
        descriptor = os.open(lock_path(f"address {normalised(address)}", folder), os.O_RDONLY)
    except OSError:
        return None
    with os.fdopen(descriptor, "rb") as file:
        try:
            fcntl.flock(file, fcntl.LOCK_SH | fcntl.LOCK_NB)
        except OSError:
            return _read(file.read())
    return None


def note_off(address: str, folder: Path) -> None:
    """Leave a trace for `last_taken`: somebody switches the outputs at this address off, without a lock."""
    with suppress(OSError):  # nobody has locked it since the computer started, so nobody looks
        os.utime(lock_path(f"address {normalised(address)}", folder))


def last_taken(address: str, folder: Path) -> int | None:
    """A number that is another one once somebody locked an address, or switched off there, since it was
    asked for; None: nobody has.
    """
    try:
        return lock_path(f"address {normalised(address)}", folder).stat().st_mtime_ns
    except OSError:
        return None


class Locks:
    """The locks that this process holds. folder None: none are taken (virtual benches lock nothing)."""

    def __init__(self, folder: Path | None, about: dict[str, Any] | None = None) -> None:
        self._folder = folder
        self._about = about or {}
        self._held: dict[tuple[str, str], int] = {}

    async def take_address(self, name: str, address: str) -> None:
        """Lock an address for the supply `name`. Raises Locked. A name service that takes its time holds up
        nobody else.
        """
        if self._folder is not None:
            import asyncio  # `railwright off` reads locks before it takes time for this

            place = await asyncio.get_running_loop().run_in_executor(None, normalised, address)
            self._take(("address", name), f"address {place}", address)

    def take_instrument(self, name: str, identity: str) -> None:
        """Lock the instrument that gives this answer to *IDN?. Raises Locked. One without a serial number (0,
        IEEE 488.2, 10.14) does not say which it is.
        """
        parts = [part.strip() for part in identity.split(",")]
        if len(parts) < 3 or parts[2] in ("", "0"):
            return
        who = ",".join(parts)
        self._take(("instrument", name), f"instrument {who}", f"the instrument '{who}'")

    def release(self) -> None:
        """Let go of all."""
        for descriptor in self._held.values():
            os.close(descriptor)
        self._held.clear()

    def _take(self, key: tuple[str, str], what: str, shown: str) -> None:
        if self._folder is None:
            return
        try:
            self._lock(key, lock_path(what, self._folder), shown)
        except OSError as error:
            why = error.strerror or str(error)
            raise Locked(
                f"{shown} cannot be locked for this run: expected a file that can be written in "
                f"{self._folder}, got '{why}': name another folder in {RUNTIME}"
            ) from None

    def _lock(self, key: tuple[str, str], path: Path, shown: str) -> None:
        descriptor = os.open(path, os.O_RDWR | os.O_CLOEXEC | (0 if path.exists() else os.O_CREAT), 0o666)
        try:
            with suppress(PermissionError):
                os.fchmod(descriptor, 0o666)
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            other = self._own(path)
            about = _read(os.pread(descriptor, 4096, 0)) or {}
            os.close(descriptor)
            if other is not None:
                if other == key:
                    return
                raise Locked(
                    f"{shown} is also '{other[1]}' of this bench: one instrument at two addresses"
                ) from None
            raise Locked(f"{shown} is held by {_holder(about)}") from None
        # A full disk takes nothing away from the lock itself.
        with suppress(OSError):
            os.ftruncate(descriptor, 0)
            os.pwrite(descriptor, json.dumps({**self._about, "path": str(path)}).encode(), 0)
        before = self._held.pop(key, None)
        if before is not None:
            os.close(before)
        self._held[key] = descriptor

    def _own(self, path: Path) -> tuple[str, str] | None:
        """Which of this process's own locks this file is."""
        with suppress(OSError):
            there = path.stat()
            for key, descriptor in self._held.items():
                held = os.fstat(descriptor)
                if (held.st_dev, held.st_ino) == (there.st_dev, there.st_ino):
                    return key
        return None


def _holder(about: dict[str, Any]) -> str:
    """Who holds a lock, and what to do about it."""
    run, guard = about.get("run_pid"), about.get("guard_pid")
    if not isinstance(run, int) or not isinstance(guard, int) or run == guard:
        return f"another program (process {run if isinstance(run, int) else guard})"
    if _alive(run):
        return f"another run (process {run}); end it first"
    return (
        f"the guard (process {guard}) of a run that is over, which still waits for a supply that it has to "
        f"switch off; switch that supply on again, or end the guard with 'kill {guard}' and measure"
    )


def _alive(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    except OSError:
        pass  # somebody else's
    return True


def _read(raw: bytes) -> dict[str, Any] | None:
    try:
        data = json.loads(raw)
    except ValueError:
        return {}
    return data if isinstance(data, dict) else {}
