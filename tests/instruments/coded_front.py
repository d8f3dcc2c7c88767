"""The simulated supplies behind a language with a sign between header and value, whole numbers for levels,
and answers that hold the values of all outputs; with a parser of its own.

    V1=6050  V?  6050,50 (codes of 2 mV, the first is -100 mV)   I1=3000  I?  3000,0 (codes of 0.5 mA)
    P1=18.5  P1?  18.50 (volts)   T1=1  T?  1,0   D1=60 D?  60,10 (milliseconds)   U1=2000  F1=2000 (V/s)
    S1=FAR  S?  FAR,NEAR   OUT1=1  OUT?  1,0   C1 (clears trips)   ERR?  0   WOKE?  NO   *IDN?
    MEAS?  12.01,0.5,5.02,0.2 (volts and amperes of each)   ADC?  26020,10500,12040,10200 (codes of 0.5 mV and
    of 0.05 mA, the first of which are -1 V and -0.5 A)   DOES?  CV,NO   WHY?  0,2 (2: limit, 1: over-voltage)
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable

from railwright.twin.server import SupplyServer

DIALECT = """\
dialect: coded
addressing: numbered-header
compound: false
words: {"on": "1", "off": "0", at load: FAR, at terminals: NEAR}
instrument: {identify: "*IDN?", next_error: "ERR?", error_form: number,
             power_on: {query: "WOKE?", words: "YES", nothing: "NO"}}
settings:
  output: {command: "OUT{channel}={value}", query: "OUT?", field: {1: 1, 2: 2}}
  voltage: {command: "V{channel}={value}", query: "V?", field: {1: 1, 2: 2},
            code: {scale: 0.002, offset: -0.1, highest: 20000}}
  current_limit: {command: "I{channel}={value}", query: "I?", field: {1: 1, 2: 2},
                  code: {scale: 0.5, highest: 5000}, unit: mA}
  ovp: "P{channel}={value}"
  trip_at_limit: {command: "T{channel}={value}", query: "T?", field: {1: 1, 2: 2}}
  trip_delay: {command: "D{channel}={value}", query: "D?", field: {1: 1, 2: 2}, unit: ms, digits: 0}
  slew_rising: "U{channel}={value}"
  slew_falling: "F{channel}={value}"
  sense: {command: "S{channel}={value}", query: "S?", field: {1: 1, 2: 2}}
actions: {clear_trips: "C{channel}"}
readings:
  voltage: {query: "MEAS?", field: {1: 1, 2: 3}}
  current: {query: "MEAS?", field: {1: 2, 2: 4}}
status:
  mode: {query: "DOES?", field: {1: 1, 2: 2}, words: {CV: CV, CC: CC}}
  trips: {query: "WHY?", field: {1: 1, 2: 2}, nothing: "0",
          words: {OVP: "1", current limit: "2", linked: "3", OTP: "4"}}
"""
BY_CODES = (
    '  voltage: {query: "MEAS?", field: {1: 1, 2: 3}}\n  current: {query: "MEAS?", field: {1: 2, 2: 4}}\n',
    '  voltage: {query: "ADC?", field: {1: 1, 2: 3}, code: {scale: 0.0005, offset: -1, highest: 131071}}\n'
    '  current: {query: "ADC?", field: {1: 2, 2: 4}, code: {scale: 5.0e-5, offset: -0.5, highest: 131071}}\n',
)
"""Readings as codes, too."""

HEADERS = {
    "OUT": "OUTPut#:STATe",
    "V": "SOURce#:VOLTage",
    "I": "SOURce#:CURRent",
    "P": "SOURce#:VOLTage:PROTection",
    "T": "SOURce#:CURRent:PROTection:STATe",
    "D": "SOURce#:CURRent:PROTection:DELay",
    "U": "SOURce#:VOLTage:SLEW",
    "F": "SOURce#:VOLTage:SLEW:FALLing",
    "S": "SOURce#:VOLTage:ALC:SOURce",
}
TAKEN: dict[str, Callable[[str], str]] = {
    "V": lambda text: f"{int(text) * 0.002 - 0.1:.6f}",
    "I": lambda text: f"{int(text) * 0.0005:.6f}",
    "D": lambda text: f"{int(text) / 1000:.6f}",
    "S": lambda text: {"FAR": "EXTernal", "NEAR": "INTernal"}[text],
}
GIVEN: dict[str, Callable[[str], str]] = {
    "V": lambda text: f"{(float(text) + 0.1) / 0.002:.0f}",
    "I": lambda text: f"{float(text) / 0.0005:.0f}",
    "D": lambda text: f"{float(text) * 1000:.0f}",
    "S": lambda text: {"EXT": "FAR", "INT": "NEAR"}[text],
}
MODES = {10: "CV", 11: "CC", 12: "CP"}
TRIPS = {12: "1", 9: "2", 10: "3", 4: "4"}


class Front:
    """What a server answers to a message in that language; `standard`: what it answers to one in its own."""

    def __init__(self, server: SupplyServer, standard: Callable[..., Awaitable[str]]) -> None:
        self._server, self._standard = server, standard
        self._numbers = range(1, len(server.supply.panels) + 1)

    async def answer(self, message: str) -> str:
        if message == "*IDN?":
            return await self._ask(message)
        if message == "ERR?":
            return (await self._ask("SYSTem:ERRor?")).partition(",")[0].removeprefix("+")
        if message == "WOKE?":
            return "YES" if int(await self._ask("*ESR?")) & 128 else "NO"
        if message in ("MEAS?", "ADC?", "DOES?", "WHY?"):
            return ",".join([await self._said(message, number) for number in self._numbers])
        if message.endswith("?"):
            name = message[:-1].rstrip("12")
            asked = message[len(name) : -1]
            numbers = [int(asked)] if asked else self._numbers
            found = [await self._ask(f"{HEADERS[name].replace('#', str(n))}?") for n in numbers]
            return ",".join(GIVEN.get(name, str)(each) for each in found)
        if message[:1] == "C" and message[1:].isdecimal():
            return await self._ask(f"OUTPut{message[1:]}:PROTection:CLEar")
        header, _, value = message.partition("=")
        name, number = header[:-1], header[-1]
        if name not in HEADERS or not value or " " in message:
            return await self._ask("SYSTem:UNKNown")  # no command: an error in its queue
        return await self._ask(f"{HEADERS[name].replace('#', number)} {TAKEN.get(name, str)(value)}")

    async def _ask(self, message: str) -> str:
        return await self._standard(self._server, message.encode("ascii"))

    async def _said(self, message: str, number: int) -> str:
        if message in ("DOES?", "WHY?"):
            of = "OPERation" if message == "DOES?" else "QUEStionable"
            register = int(await self._ask(f"STATus:{of}:INSTrument:ISUMmary{number}:CONDition?"))
            names, none = (MODES, "NO") if message == "DOES?" else (TRIPS, "0")
            return next((name for bit, name in names.items() if register >> bit & 1), none)
        volts = float(await self._ask(f"MEASure{number}:VOLTage?"))
        amperes = float(await self._ask(f"FETCh{number}:CURRent?"))
        if message == "MEAS?":
            return f"{volts:.4f},{amperes:.5f}"
        return f"{(volts + 1) / 0.0005:.0f},{(amperes + 0.5) / 0.00005:.0f}"
