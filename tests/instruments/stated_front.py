"""The simulated supplies behind the language of `stated_supply`: outputs named by a letter among the
parameters, all of one in one answer, messages up to a length.
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable

from tests.bench import replaced
from tests.instruments import stated_supply

from railwright.twin.server import SupplyServer

LONGEST = 60
DIALECT = replaced(
    stated_supply.DIALECT,
    ("compound: true\n", f"compound: true\nsession: {{longest: {LONGEST}}}\n"),
    ('words: {"on": "1", "off": "0"}', 'words: {"on": "1", "off": "0", at load: FAR, at terminals: NEAR}'),
    ("fields: [maker, model, version]", "fields: [maker, model, serial, version]"),
    (", lowest: 0.01}", "}"),
    (
        'trip_delay: {query: "LATE?"}',
        "trip_delay: LATE\n  slew_rising: UPWD\n  slew_falling: DOWN\n  sense: SENS",
    ),
    ('query: "LAMP {channel}?"', 'query: "STAT?", field: 1'),
    ('current limit: "2"}', 'current limit: "2", linked: "3", OTP: "4"}'),
)
HEADERS = {
    "LAMP": "OUTPut",
    "VOLT": "SOURce:VOLTage",
    "CURR": "SOURce:CURRent",
    "OVER": "SOURce:VOLTage:PROTection",
    "TRIP": "SOURce:CURRent:PROTection:STATe",
    "LATE": "SOURce:CURRent:PROTection:DELay",
    "UPWD": "SOURce:VOLTage:SLEW",
    "DOWN": "SOURce:VOLTage:SLEW:FALLing",
    "SENS": "SOURce:VOLTage:ALC:SOURce",
    "FREE": "OUTPut:PROTection:CLEar",
}
WORDS = {"FAR": "EXTernal", "NEAR": "INTernal", "EXT": "FAR", "INT": "NEAR"}
MODES = {10: "CV", 11: "CC", 12: "CP"}
TRIPS = {12: "1", 9: "2", 10: "3", 4: "4"}


class Front:
    """What a server answers to a message in that language; `standard`: what it answers to one in its own."""

    def __init__(self, server: SupplyServer, standard: Callable[..., Awaitable[str]]) -> None:
        self._server, self._standard = server, standard

    async def answer(self, message: str) -> str:
        if len(message) + 1 > LONGEST:
            return await self._ask("SYSTem:TOOLong")  # no command: an error in its queue
        found = [await self._done(unit.removeprefix(":")) for unit in message.split(";")]
        return ";".join(each for each in found if each)

    async def _ask(self, message: str) -> str:
        return await self._standard(self._server, message.encode("ascii"))

    async def _done(self, unit: str) -> str:
        word, _, rest = unit.partition(" ")
        if word == "WHO?":
            return "/".join((await self._ask("*IDN?")).split(","))
        if word == "WOKE?":
            return "YES" if int(await self._ask("*ESR?")) & 128 else "NO"
        if word == "FAULT?":
            return await self._ask("SYSTem:ERRor?")
        if word == "STAT?":
            return await self._all(rest)
        given = rest.split(",")
        if word == "CURR":
            given = given[::-1]
        given = [WORDS.get(each, each) for each in given]
        header = HEADERS[word.removesuffix("?")] + "?" * word.endswith("?")
        answer = await self._ask(f"{header} {','.join(given)}")
        return WORDS.get(answer, answer)

    async def _all(self, name: str) -> str:
        number = "AB".index(name) + 1
        registers = (
            f"STATus:{each}:INSTrument:ISUMmary{number}:CONDition?" for each in ("OPERation", "QUES")
        )
        modes, trips = [int(await self._ask(each)) for each in registers]
        shown = [
            await self._ask(f"OUTPut? {name}"),
            next((mode for bit, mode in MODES.items() if modes >> bit & 1), "NO"),
            await self._ask(f"MEASure:VOLTage? {name}"),
            await self._ask(f"FETCh:CURRent? {name}"),
            next((digit for bit, digit in TRIPS.items() if trips >> bit & 1), "0"),
        ]
        return ",".join(shown)
