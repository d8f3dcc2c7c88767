"""Documents that must be refused: one thing wrong in otherwise good ones, in the data or in the text."""

# ruff: noqa: E501 - a mistake stands in one line

from __future__ import annotations

from collections.abc import Callable
from random import Random

from benchmarks.same_outcomes.documents import Data, Documents


def break_data(documents: Documents, dice: Random, number: int) -> None:
    """Make the mistake of this number, counted round."""
    DATA[number % len(DATA)](documents, dice)


def _first(documents: Documents, path: str) -> str:
    return f"{path}/{next(iter(documents.get(path)))}"


def _put(path: str, value: Data) -> Callable[[Documents, Random], None]:
    """Put a value where the first input, supply, output or lead of the documents (`*`) has it."""

    def put(documents: Documents, dice: Random) -> None:
        documents.put(_resolved(documents, path), value)

    return put


def _drop(path: str) -> Callable[[Documents, Random], None]:
    return lambda documents, dice: documents.drop(_resolved(documents, path))


def _resolved(documents: Documents, path: str) -> str:
    """The path with each `*` replaced by the first key there."""
    made: list[str] = []
    for key in path.split("/"):
        made.append(next(iter(documents.get("/".join(made)))) if key == "*" else key)
    return "/".join(made)


def _same_output_twice(documents: Documents, dice: Random) -> None:
    first = documents.get(_resolved(documents, "procedure/hook_up/*"))
    documents.put("procedure/hook_up", dict.fromkeys((*documents.device["inputs"], "nobody"), first))


DATA: tuple[Callable[[Documents, Random], None], ...] = (
    _put("device/inputs/*/nominal", "12"),
    _put("device/inputs/*/nominal", "12 A"),
    _put("device/inputs/*/nominl", "12 V"),
    _put("device/inputs/*/operating", "16 V .. 9 V"),
    _put("device/inputs/*/return", "commn"),
    _put("device/inputs/*/load", []),
    _put("device/inputs/*/load/0", {"condenser": {"capacitance": "1 uF"}}),
    _put("device/inputs/*/load/0", {"resistor": {"resistance": "-5 ohm"}, "capacitor": "1 uF"}),
    _put("device/order", [{"after": "mian", "then": "nobody", "delay": "1 ms .. 2 ms"}]),
    _drop("device/inputs/*/nominal"),
    _put("device/revision", None),
    _put("bench/supplies/*/dialect", "chanel-list"),
    _put("bench/supplies/*/outputs/1/voltage", "36 V"),
    _put("bench/supplies/*/outputs/2", {"same_as": "7"}),
    _put("bench/supplies/*/calibrated", {"on": "2026-02-30", "due": "soon", "certificate": "C"}),
    _put("bench/leads/*/conductor", "AWG x"),
    _put("bench/location", "damp"),
    _drop("bench/leads"),
    _put("procedure/hook_up/*/lead", "golden pair"),
    _put("procedure/hook_up/*/from", "left.9"),
    _same_output_twice,
    _put("procedure/limits/*/ovp", "18 A"),
    _drop("procedure/limits/*/current_limit"),
    _put("procedure/limits/*/trips_when", ["nobody"]),
    _put("procedure/limits/*/off_after", ["nobody"]),
    _put("procedure/steps/1", {"hold": "1 V"}),
    _put("procedure/steps/1", {"hold": "1 s", "shape": {"input": "main", "segments": []}}),
    _put("procedure/steps/1", {"shape": {"input": "main", "standard": "IEC 61000-4-29 dpi"}}),
    _put("procedure/steps/1", {"shape": {"input": "main", "recording": "missing.csv"}}),
    _put("procedure/steps/1", {"sweep": {"input": "main", "from": "9 V", "to": "12 V", "points": "1.5", "dwell": "1 s"}}),
    _put("procedure/requires", [{"name": "x", "measure": "peak_currant", "of": "main", "during": "never", "at_most": "1 A"}]),
    _put("procedure/requires", [{"name": "x", "measure": "restarts", "of": "main", "during": "no such step", "at_most": "0"}]),
    _put("procedure/overrides", [{"finding": "limit-below-ned", "because": "it is meant"}]),
    _put("procedure/stop_when", [{"input": "main", "for": "10 ms"}]),
    _put("procedure/record", {"every": "0 s"}),
    _put("procedure/decision", {"rule": "guarded", "guard_band": "1 V"}),
    _put("procedure/device", "elsewhere.yaml"),
    _put("procedure/standards", "elsewhere.yaml"),
    _put("procedure/attended", "maybe"),
)  # fmt: skip
"""Mistakes in what is written; most are refused, whatever the rest of the documents says."""


def break_text(content: bytes, dice: Random) -> bytes:
    """One mistake in how it is written."""
    lines = content.split(b"\n")
    at = dice.randrange(1, max(2, len(lines) - 1))
    match dice.randrange(7):
        case 0:
            lines[at] = b"\t" + lines[at]
        case 1:
            lines[at] += b" {open: ["
        case 2:
            lines.insert(at, lines[0])
        case 3:
            lines[at] += b" \xff\xfe"
        case 4:
            lines[at] = b" " + lines[at]
        case 5:
            lines[at] = lines[at].replace(b":", b"", 1)
        case 6:
            return b""
    return b"\n".join(lines)
