"""The tide-gauge station whose converter is enabled by a pin that a digital output drives."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from tests.bench import CONVERTER, DEVICE
from tests.relays.station import HEAD
from tests.relays.station import documents as with_relays

ENABLED = CONVERTER + "        enabled_by: run\n"
HIGH = "active: high, undriven: low"
LOW = "active: low, undriven: high"
DRIVEN = "closed: high, without_power: open"
"""A contact to the logic supply, or a high-side digital output."""
SINKS = "closed: low, without_power: open"
"""A contact to 0 V, or an open-collector output."""
PUSHES = "closed: high, open: low, without_power: open"
PORT = """
relays:
  port:
    address: TCPIP::127.0.0.1::5040::SOCKET
    model: QS-4
    serial: R-0007
    contacts:
      enable: {channel: 3, DRIVES, operate: 2 ms, release: 2 ms}
"""
STEPS = """  - power_up: {order: [main, transducer], gap: 50 ms, rise: 2 V/ms, settle: 150 ms}
    name: up
  - hold: 1 s
    name: standby
  - relays: {CLOSE: [enable], settle: 100 ms}
    name: enable
  - hold: 1 s
    name: steady
  - relays: {OPEN: [enable], settle: 100 ms}
    name: disable
  - hold: 1 s
    name: idle
  - power_down: {order: [transducer, main], gap: 20 ms}
    name: down
"""
REQUIRES = """  - {name: runs, measure: mean_current, of: main, during: steady, at_least: 200 mA}
  - {name: stands still, measure: mean_current, of: main, during: standby, at_most: 20 mA}
"""


def pinned_head(starts: str = "inactive") -> str:
    """The procedure up to its steps, with what drives the pin."""
    pins = f"pins:\n  run: {{from: enable, starts: {starts}}}\nlimits:"
    return HEAD.replace(", fixture: main gate", "").replace("limits:", pins)


def steps(active_closed: bool = True) -> str:
    """Power-up, enabled, disabled, power-down."""
    names = ("close", "open") if active_closed else ("open", "close")
    return STEPS.replace("CLOSE", names[0]).replace("OPEN", names[1])


def documents(
    folder: Path,
    pin: str = HIGH,
    drives: str = DRIVEN,
    *,
    head: str | None = None,
    load: str = ENABLED,
    requires: str = REQUIRES,
    procedure: str | None = None,
    address: str = "TCPIP::127.0.0.1::5040::SOCKET",
    edits: Mapping[str, list[tuple[str, str]]] | None = None,
) -> Path:
    """A procedure that powers the station up, enables it, disables it, and powers it down. pin: as the device
    has it. drives: levels and rest of what drives it.
    """
    level = "high" if "active: high" in pin else "low"
    own = [(CONVERTER, load), ("\ninputs:\n", f"\npins:\n  run: {{{pin}}}\ninputs:\n")]
    more = {DEVICE: own, **(edits or {})}
    return with_relays(
        folder,
        steps=steps(f"closed: {level}" in drives) if procedure is None else procedure,
        requires=requires,
        relays=PORT.replace("DRIVES", drives).replace("TCPIP::127.0.0.1::5040::SOCKET", address),
        head=pinned_head() if head is None else head,
        edits=more,
    )
