"""Messages to a simulated supply: its whole command tree with any parameters, chained, cut, damaged; noise.

Time goes on between them, so that lists play, protections trip and supplies stop while commands come.
"""

from __future__ import annotations

import asyncio
import random
import re
from collections.abc import Callable
from functools import partial

from benchmarks.fuzzing.damage import damaged
from benchmarks.fuzzing.trial import Findings
from tests.twin.bench import PROCEDURE, AtHand

from railwright.scpi.errors import ScpiError
from railwright.scpi.framing import MessageFramer
from railwright.twin.commands import TREE

NUMBERS = (
    *(
        "0",
        "1",
        "2",
        "-1",
        "5",
        "12.5",
        "1e-9",
        "1e9",
        "1E308",
        "-1E400",
        "9.9E37",
        "NAN",
        "INF",
        "NINF",
        ".",
        "+",
        "1e",
    ),
    *(
        "MIN",
        "MAX",
        "DEF",
        "UP",
        "ON",
        "OFF",
        "12 V",
        "12 mV",
        "3 PARSEC",
        "1 MA",
        "#HFF",
        "#Q777",
        "#B102",
        "#H",
        "1,2",
    ),
)
WORDS = (
    *(
        "EXT",
        "INT",
        "LIST",
        "FIX",
        "STEP",
        "LIN",
        "BUS",
        "IMM",
        "EXTernal",
        "'a'",
        '"b""c"',
        "'",
        '"',
        "#15hello",
    ),
    *(
        "#0abc",
        "#9999999999",
        "#",
        "(",
        ")",
        "((1))",
        "NONE",
        "ALL",
        "CV",
        "(@1,2)",
        "\x1b[2J",
        "é",
        "9" * 300,
    ),
)
CHANNELS = (
    *(
        "(@1)",
        "(@2)",
        "(@1,2)",
        "(@1:2)",
        "(@2:1)",
        "(@0)",
        "(@3)",
        "(@)",
        "(@1",
        "(@1:99999999)",
        "(@-1)",
        "(@1!2)",
    ),
    *("(@1,1,1)", "(@a)", "(@1.5)", "(1)", ""),
)
FRESH_EVERY = 20_000
"""Messages after which the supplies are new ones, so that none stays in a corner."""


def run(seed: int, count: int) -> Findings:
    """So many messages to two supplies of two dialects."""
    findings = Findings("messages", limit=5.0)
    dice = random.Random(f"messages {seed}")
    patterns = [pattern for pattern, _ in TREE.entries]
    sent: list[bytes] = []
    supplies: list[AtHand] = []
    loop = asyncio.new_event_loop()
    for number in range(count):
        if number % FRESH_EVERY == 0:
            supplies = [AtHand("left", PROCEDURE, seed), AtHand("right", None, seed)]
        supply = supplies[dice.randrange(len(supplies))]
        message = _message(dice, patterns, sent)
        pause = dice.choice((0.0, 0.0, 0.0, 0.0, 0.001, 0.004, 0.02)) if number % 500 else 0.3
        shown = partial(repr, message[:300])
        findings.attempt(_telling(loop, supply, message, pause), shown)
        if len(supply.supply.status.errors) > 100:
            findings.note("holds more than 100 errors", shown)
    loop.close()
    return findings


def _telling(
    loop: asyncio.AbstractEventLoop, supply: AtHand, message: bytes, pause: float
) -> Callable[[], None]:
    def tell() -> None:
        for framed in MessageFramer().feed(message + b"\n"):
            if isinstance(framed, ScpiError):
                supply.supply.status.report(framed)
            else:
                answer = loop.run_until_complete(_answered(supply, framed))
                answer.encode("latin-1", "replace")
                if len(answer) > 1_000_000:
                    raise AssertionError(f"answers {len(answer)} characters")
        if pause:
            supply.wait(pause)

    return tell


async def _answered(supply: AtHand, message: bytes) -> str:
    """What it answers; a message that waits until a list ends is left after a second of its time."""
    carried = asyncio.create_task(supply.server.answer(message))
    for _ in range(20):
        done, _ = await asyncio.wait({carried}, timeout=0.002)
        if done:
            return carried.result()
        supply.now += 0.05
    carried.cancel()
    return ""


def _message(dice: random.Random, patterns: list[str], sent: list[bytes]) -> bytes:
    kind = dice.randrange(20)
    if kind == 0:
        return dice.randbytes(dice.choice((1, 3, 20, 200)))
    if kind <= 3 and sent:
        return damaged(dice, dice.choice(sent))
    units = [_unit(dice, patterns) for _ in range(dice.choice((1, 1, 1, 1, 2, 3, 30)))]
    message = ";".join(dice.choice(("", ":", " ")) + unit for unit in units).encode("latin-1", "replace")
    if len(sent) < 1000:
        sent.append(message)
    else:
        sent[dice.randrange(1000)] = message
    return message if len(message) < 10_000 else message[:10_000]


def _unit(dice: random.Random, patterns: list[str]) -> str:
    """A command of the tree as it may be written, with any parameters."""
    pattern = dice.choice(patterns)
    if dice.random() < 0.7:
        pattern = re.sub(r"\[(:?[^\]]*)\]", lambda m: dice.choice((m[1], "")), pattern)
    header = "".join(c if c.isupper() or dice.random() < 0.5 or not c.isalpha() else "" for c in pattern)
    header = dice.choice((pattern, header, pattern.lower())).replace("[", "").replace("]", "")
    header = header.replace("#", dice.choice(("", "1", "2", "0", "9", "99999999999999999999"))).lstrip(":")
    if dice.random() < 0.1:
        header = header.rstrip("?") if header.endswith("?") else header + "?"
    parameters = [
        dice.choice(NUMBERS) if dice.random() < 0.75 else dice.choice(WORDS)
        for _ in range(
            dice.choice((0, 1, 1, 1, 2, 5, 60)) if not header.endswith("?") else dice.choice((0, 0, 0, 1))
        )
    ]
    if channels := dice.choice(CHANNELS):
        parameters.append(channels)
    return header + (
        dice.choice((" ", "  ", "\t")) + dice.choice((",", ", ")).join(parameters) if parameters else ""
    )
