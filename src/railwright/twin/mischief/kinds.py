"""The faults that a script can name: what each takes, and how long it lasts where the script does not say."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of fault. takes: what follows its name. of_output: it is about outputs, not the whole supply.

    seconds, times: how long it lasts [s], and how often it acts, where the script does not say. counted: a
    script may say how often. on_answers: it acts on answers, from the instant of the first it spoils.
    """

    takes: Literal["", "time", "time?", "number", "message"] = ""
    seconds: float = math.inf
    times: float = math.inf
    of_output: bool = False
    on_answers: bool = False
    counted: bool = False


_ANSWER = Kind(times=1, on_answers=True, counted=True)
_AT_ONCE = Kind(seconds=0.0)

KINDS: dict[str, Kind] = {
    # The connection
    "reset": _AT_ONCE,
    "refuses": Kind(),
    "reboots": Kind(seconds=2.0),
    "reboots and comes on": Kind(seconds=2.0),
    "restarts": Kind(seconds=0.3),
    "restarts and comes on": Kind(seconds=0.3),
    "taken over": _AT_ONCE,
    "taken over silently": _AT_ONCE,
    "one client": Kind(),
    # Messages and answers
    "silent": Kind(counted=True),
    "deaf": Kind(counted=True),
    "slow": Kind(takes="time", counted=True),
    "half answer": _ANSWER,
    "endless answer": _ANSWER,
    "two answers": _ANSWER,
    "garbage": _ANSWER,
    "previous answer": _ANSWER,
    "wrong answer": _ANSWER,
    # The supply
    "refuses conflicts": Kind(),
    "error": Kind(takes="number", seconds=0.0),
    "told": Kind(takes="message", seconds=0.0),
    # Its outputs
    "goes off": Kind(seconds=0.0, of_output=True),
    "comes on": Kind(seconds=0.0, of_output=True),
    "comes on again": Kind(takes="time?", times=1, of_output=True, counted=True),
    "stays on": Kind(of_output=True),
    "stays on but says off": Kind(of_output=True),
    "overheats": Kind(seconds=2.0, of_output=True),
    "overheats and comes back": Kind(seconds=2.0, of_output=True),
}
"""Name -> kind.

reset: every connection is reset by the peer. refuses: that, and no new connection is taken. reboots: that,
and when it comes back its outputs are off and its settings lost; or all is as it was before, where the bench
says so of it. restarts: the same, deaf meanwhile, and no connection is lost, as at a serial line. … and comes
on: whatever the bench says, all is as it was before. taken over: another client has taken the
supply, which takes one, and every connection is closed. taken over silently: they stay open and are ignored.
one client: a second connection is closed at once while there is one.

silent: commands are carried out, nothing is answered. deaf: nothing is carried out either. slow: each message
takes so much longer. half answer: cut in the middle, without a newline. endless answer: goes on for ever
without a newline. two answers: the answer, twice. garbage: bytes that mean nothing, and a newline. previous
answer: the one before it. wrong answer: one number off, one flag flipped, or one word exchanged.

refuses conflicts: settings that contradict each other are refused with -221. error: an error of this number
in the queue. told: a program message, as if from the panel or another client.
goes off, comes on: as by its own switch. comes on again: after it has been told to go off, in so long
(50 ms). stays on: it ignores OFF, and says that it is on. stays on but says off: its measurements tell.
overheats: it trips, and its trip cannot be cleared until it has cooled. overheats and comes back: when it has
cooled, its trip clears itself and it comes on, unless it was told to go off meanwhile.
"""

COMES_ON_AGAIN_AFTER = 50e-3
"""In how long an output comes on again where the script does not say [s]."""
