"""The lines of a script of faults."""

import math
import pickle

import pytest
from tests.twin.bench import BENCH

from railwright.twin.mischief.kinds import KINDS
from railwright.twin.mischief.script import Mischief, MischiefError, When, commands_of, parse_mischief


def one(line: str) -> Mischief:
    (fault,) = parse_mischief([line], BENCH.supplies)
    return fault


@pytest.mark.parametrize(
    ("line", "when"),
    [
        ("left: silent", When()),
        ("left: silent at message 40", When(40)),
        ("left: silent after message 40", When(40, after=True)),
        ("left: silent at VOLT? 3", When(3, header="VOLT?")),
        ("left: silent at OUTPut:STATe", When(1, header="OUTPut:STATe")),
        ('left: silent at "outp off" 2', When(2, text="OUTP OFF")),
        ("left: silent at 1.5 s", When(between=(1.5, 1.5))),
        ("left: silent at 500 ms .. 2 s", When(between=(0.5, 2.0))),
    ],
)
def test_when(line: str, when: When) -> None:
    fault = one(line)
    assert (fault.when, fault.kind, fault.supply) == (when, "silent", "left")
    assert (fault.seconds, fault.times) == (math.inf, math.inf)


@pytest.mark.parametrize(
    ("line", "seconds", "times"),
    [
        ("left: silent at message 4 for 0.3 s", 0.3, math.inf),
        ("left: deaf at OUTP 3 for 1 time", math.inf, 1),
        ("left: garbage for 5 times", math.inf, 5),
        ("left: garbage", math.inf, 1),
        ("left: garbage for ever", math.inf, math.inf),
        ("left: reset at message 3", 0.0, math.inf),
        ("left: reboots at message 3 for 3 s", 3.0, math.inf),
    ],
)
def test_how_long(line: str, seconds: float, times: float) -> None:
    fault = one(line)
    assert (fault.seconds, fault.times) == (seconds, times)


def test_what_a_kind_takes() -> None:
    assert one("left: slow 50 ms").value == 0.05
    assert one("left: error -310 at message 3").value == -310.0
    assert one('right: told "VOLT 3 for:at;OUTP ON" at message 3').value == "VOLT 3 for:at;OUTP ON"
    assert one("left.2: comes on again 0.2 s after message 9").value == 0.2
    assert one("left.2: comes on again").outputs == ("2",)
    assert one("left: overheats and comes back for 1 s").outputs == ("1", "2")
    assert one("left: taken over silently at message 3").kind == "taken over silently"


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("middle: silent", "expected a supply or an output and a colon first (left, right, left.1"),
        ("left silent", "expected a supply or an output and a colon first"),
        ("left: sulks at message 3", "expected one of reset, "),
        ("left.1: silent", "'silent' is about a whole supply: expected 'left: …'"),
        ("left: silent now", "expected at, after or for behind 'silent', got 'now'"),
        ("left: silent at", "expected a message, a command or a time"),
        ("left: silent at message", ""),
        ("left: silent at message 0", "expected a count from 1 on behind 'message', got '0'"),
        ("left: silent at message 3 4", "expected a count from 1 on"),
        ("left: silent at BOOM?", "expected a command that the twin knows, such as VOLT?, got 'BOOM?'"),
        ("left: silent at 3", "expected a time such as 50 ms behind 'at', got '3'"),
        ("left: silent at 2 s .. 1 s", "expected the earlier time first"),
        ("left: silent for long", "expected a time such as 50 ms or '3 times' or 'ever'"),
        ("left: reset at message 3 for 2 s", "this happens at once and lasts no time"),
        ("left: reboots for 3 times", "expected a time or 'ever' behind 'for'"),
        ("left: slow", "expected a time such as 50 ms behind 'slow', got ''"),
        ("left: slow -5 ms", "expected a time of 0 s or more behind 'slow'"),
        ("left: error many", "expected an error number such as -310"),
        ("left: told VOLT 3", "expected a message such as"),
        ('left: told "VOLT 3', "expected a second quotation mark"),
    ],
)
def test_what_cannot_be_understood_is_one_clear_line(line: str, said: str) -> None:
    if not said:
        assert one(line).when == When(1)
        return
    with pytest.raises(MischiefError) as caught:
        one(line)
    assert said in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_can_be_written_and_sent_to_a_process(kind: str) -> None:
    what = {"time": " 5 ms", "number": " -310", "message": ' "*CLS"'}.get(KINDS[kind].takes, "")
    fault = one(f"left: {kind}{what} at message 7")
    assert fault.kind == kind
    assert pickle.loads(pickle.dumps(fault)) == fault


def test_commands_are_the_same_in_any_spelling() -> None:
    assert commands_of("OUTP?") == commands_of(":OUTPUT:STATe? (@1)")
    assert commands_of("OUTP?") != commands_of("OUTP")
    assert commands_of("VOLT:LEV 5;PROT 6") == commands_of("VOLT 1") + commands_of(
        "VOLTage:PROTection:LEVel 1"
    )
    assert commands_of("STAT:OPER:INST:ISUM1:COND?") != commands_of("STAT:OPER:INST:ISUM2:COND?")
    assert commands_of(b"BOOM;*CLS;(") == commands_of("*CLS")
