"""Which messages change no output: what a session may begin and end with, whoever opens it.

Standard library only: `railwright off` reads a dialect's file as it stands, and leaves out what could change
one.
"""

from __future__ import annotations

import re
from collections.abc import Iterable

from railwright.dialects.units import CHANNEL, VALUE
from railwright.dialects.words import forms
from railwright.guard.session_settings import has_query_header

MOVES_OUTPUTS = (
    "OUTPut",
    "SOURce",
    "VOLTage",
    "CURRent",
    "POWer",
    "APPLy",
    "INITiate",
    "TRIGger",
    "ABORt",
    "ARM",
    "LIST",
    "PROGram",
    "CALibration",
    "TEST",
    "DIAGnostic",
    "MEMory",
    "MMEMory",
    "INSTrument",
    "ROUTe",
    "PRESet",
    "RECall",
    "TRACk",
    "COUPle",
    "WATChdog",
)
"""Nodes of SCPI-1999's tree (APPLy, RECall, TRACk, WATChdog: common practice, no source): a command with one
of them may change what outputs deliver, whoever vouches for it.
"""

PANEL = ("SYSTem:REMote", "SYSTem:LOCal", "SYSTem:RWLock", "SYSTem:KLOCk", "SYSTem:KEY", "SYSTem:BEEPer")
SHOWN = ("STATus", "DISPlay", "FORMat")
"""Commands, and subsystems of SCPI-1999 (KEY, RWLock: common practice, no source), that change none."""

COMMON = frozenset({"CLS", "ESE", "OPC", "PSC", "SRE", "WAI"})
"""Common commands (IEEE 488.2, chapter 10) that change no output; queries: all but these two."""

CHANGING_QUERIES = frozenset({"TST", "CAL"})

ACTS_WHEN_ASKED = ("CALibration", "TEST", "DIAGnostic")
"""Subsystems of which a question, too, has the instrument do something."""

DELIVER = ("OUTPut", "SOURce", "VOLTage", "CURRent", "POWer", "INSTrument", "COUPle", "TRACk", "WATChdog")
"""Those of MOVES_OUTPUTS that may have protections, and commands that clear them."""

PROTECTS = ("PROTection", "TRIPped")
"""Nodes of what protects an output (PROTection: SCPI-1999; TRIPped: common practice, no source)."""

WHOLE = ("PRESet", "RECall", "MEMory", "MMEMory", "DEFault", "FACTory", "TEST", "CALibration", "DIAGnostic")
RESETS = ("RESet", "RST")
"""Nodes of commands that change a whole instrument (DEFault, FACTory, RESet: common practice, no source); a
protection may be reset by itself.
"""

MOST = 8
"""What a session begins or ends with has so many entries at most: OFF that is sent again waits for each."""

_NO_HEADER = re.compile(r"[=#,]")
_MESSAGE = re.compile(r"[!-~]+(?: [!-~]+)*")


def header_of(text: str) -> str:
    """What stands before the first blank of a message."""
    return text.split(None, 1)[0] if text.strip() else ""


def why_harmful(text: str, own: Iterable[tuple[str, str]], *, vouched: bool) -> str:
    """Why a message may change an output; '' where it does not. own: what the dialect calls each of its own
    commands, and the command's header. vouched: the file says why it is harmless.
    """
    if not _MESSAGE.fullmatch(text) or ";" in text:
        return "which is not one command with single blanks"
    if text.startswith("*"):
        return _common(header_of(text)[1:].upper())
    nodes = _nodes(text)
    if has_query_header(text):
        return f"a question of {nodes[0]}" if _any_of(nodes[:1], ACTS_WHEN_ASKED) else ""
    if name := next((name for name, header in own if _is_command(text, nodes, header)), ""):
        return f"the command of '{name}'"
    if root := _any_of(nodes, MOVES_OUTPUTS):
        return f"a command of {root}"
    known = [*(_nodes(each) for each in PANEL), *([each] for each in SHOWN)]
    if vouched or any(_alike(nodes[: len(each)], each) for each in known):
        return ""
    return "of which nothing is known; say why it is harmless, as {send: …, because: …}"


def why_more_than_clearing(header: str, own: Iterable[tuple[str, str]]) -> str:
    """Why a command may do more than clear what tripped of an output that is off; '' where it does not. own:
    see `why_harmful`, without those that clear.
    """
    if header.startswith("*"):
        return "" if header.upper() == "*CLS" else "a common command, which may change other outputs, too"
    nodes = _nodes(header)
    if name := next((name for name, other in own if _alike(nodes, _nodes(other))), ""):
        return f"the command of '{name}'"
    refused = [*WHOLE]
    if not _any_of(nodes, PROTECTS):
        refused += [*RESETS, *(each for each in MOVES_OUTPUTS if each not in DELIVER)]
        refused += [] if _any_of(nodes, ("CLEar",)) else DELIVER
    found = _any_of(nodes, refused)
    return f"a command of {found}, which may change what outputs deliver" if found else ""


def _any_of(nodes: Iterable[str], names: Iterable[str]) -> str:
    """The first of these names that is a node, '' where none is."""
    own = [*nodes]
    return next((name for name in names if any(_same(node, name) for node in own)), "")


def _common(name: str) -> str:
    """Why a common command may not be sent; '' where it may."""
    allowed = name[:-1] not in CHANGING_QUERIES if name.endswith("?") else name in COMMON
    return "" if allowed else "which may change one"


def _nodes(text: str) -> list[str]:
    """The nodes of a header without the numbers of outputs, and without the root that may be left out."""
    bare = header_of(text.replace(CHANNEL, "")).replace(VALUE, "").removesuffix("?").strip(":")
    # What follows another sign is no part of a header: VOLT=12.
    bare = _NO_HEADER.split(bare, maxsplit=1)[0]
    nodes = [node.rstrip("0123456789") for node in bare.split(":")]
    nodes = [node for node in nodes if node] or [""]
    return nodes[1:] if len(nodes) > 1 and _same(nodes[0], "SOURce") else nodes


def _is_command(text: str, nodes: list[str], header: str) -> bool:
    """Whether a message, which has these nodes, is the command of a header."""
    if _alike(nodes, _nodes(header)):
        return True
    if VALUE not in header:
        return False
    # A value may stand right behind its header: OUT{value}.
    parts = re.split(rf"({re.escape(CHANNEL)}|{re.escape(VALUE)})", header)
    return bool(
        re.fullmatch(
            "".join(".*" if part in (CHANNEL, VALUE) else re.escape(part) for part in parts),
            text,
            re.IGNORECASE,
        )
    )


def _alike(one: list[str], other: list[str]) -> bool:
    return len(one) == len(other) and all(_same(*pair) for pair in zip(one, other, strict=True))


def _same(one: str, other: str) -> bool:
    """Whether two nodes are one, each long or short."""
    return bool({*forms(one), *_short(one)} & {*forms(other), *_short(other)})


def _short(node: str) -> tuple[str, ...]:
    """The short form of a node whose letters do not tell it (SCPI-1999 vol. 1, 6.2.1): four letters, three
    where the fourth is a vowel.
    """
    text = node.upper()
    if len(text) <= 4:
        return (text,)
    return (text[:3] if text[3] in "AEIOU" else text[:4],)
