"""The YAML parser's complaints: where the mistake was made, which may be lines above, and what to do."""

from __future__ import annotations

import re
from typing import Any

# What only a complaint needs is compiled when there is one.
_BREAK = r"\r\n|[\r\n\x85\u2028\u2029]"
_GLUED = r"(\s*(?:- +)*)([^\s#:'\"{}\[\],][^:'\"{}\[\],]*):([^\s:].*?)\s*(?:\s#.*)?"
_KEY = r"\s*(?:- +)*[^\s#:][^:]*:(?:\s.*)?"
_OURS = re.compile(
    r"^(?:procedure|device|bench|hook_up|steps|requires|limits|supplies|leads|location|inputs"
    r"|dialect|addressing) *:",
    re.MULTILINE,
)
"""Keys of a document: of a file that has none of them nothing is repeated."""


def is_ours(text: str) -> bool:
    """Whether a text has a key of a document, so that something of it may be repeated in a message."""
    return _OURS.search(text) is not None


def explained(error: Any, text: str) -> tuple[int, int, str]:
    """Line and column (from 1) of what is wrong in a YAML text, and the message.

    error: a ruamel.yaml MarkedYAMLError.
    """
    problem = " ".join(str(error.problem or error.context or "something else").split())
    mark = error.problem_mark or error.context_mark
    line, column = (mark.line + 1, mark.column + 1) if mark else (1, 1)
    opened = error.context_mark
    if "'\\t'" in problem or "tab" in problem.casefold():
        return line, column, "expected spaces for indentation, got a tab; replace tabs by spaces"
    if "could not find expected ':'" in problem:  # noticed a line later
        place = (opened.line + 1, opened.column + 1) if opened else (line, column)
        return *place, "expected 'key: value', got a line without a colon"
    ours = is_ours(text)
    if "mapping values are not allowed" in problem:
        return _second_colon(text if ours else "", line, column)
    if "<block end>" in problem:
        message = "expected a line that lines up with those above, got another indentation; align the keys"
        return line, column, message
    if "cannot start any token" in problem:
        got = problem.removeprefix("found ")
        return line, column, f"expected YAML, got a {got}; put such a text in quotes"
    if "while parsing a flow" in str(error.context) and opened:
        return _unclosed(text, opened, line, column)
    if "while scanning a quoted scalar" in str(error.context) and opened:
        quote = _lines(text)[opened.line][opened.column : opened.column + 1]
        message = f"expected another {quote} after the one here, got none; close the quoted text"
        return opened.line + 1, opened.column + 1, message
    if "unknown escape character" in problem or "escape sequence" in problem:
        message = "expected no lone backslash in double quotes, got one; use single quotes, or write '\\\\'"
        return line, column, message
    return (
        line,
        column,
        f"expected YAML, got something else{f': {_printable(problem)}' if ours else ''}; correct it, or put "
        "a text in quotes",
    )


def _unclosed(text: str, opened: Any, line: int, column: int) -> tuple[int, int, str]:
    """What is said of a '{' or '[' that does not end where it should."""
    bracket = _lines(text)[opened.line][opened.column : opened.column + 1]
    close = "}" if bracket == "{" else "]"
    if line == opened.line + 1:
        got = _lines(text)[opened.line][column - 1 : column]
        message = f"expected ',' or '{close}' for the '{bracket}' in column {opened.column + 1}, got '{got}'"
        return line, column, _printable(f"{message}; add it before, or put a text in quotes")
    message = f"expected a '{close}' for the '{bracket}' here, got none up to line {line}; close it"
    return opened.line + 1, opened.column + 1, message


def _second_colon(text: str, line: int, column: int) -> tuple[int, int, str]:
    """What is said of a ': ' where a value goes on: the line above, if that is the one without 'key: '.

    text: empty where none of it may be repeated.
    """
    lines = _lines(text)
    if text and ": " not in lines[line - 1][: column - 1].partition("#")[0]:
        for above in range(line - 2, -1, -1):
            written = lines[above].strip()
            if not written or written.startswith("#"):
                continue
            if glued := re.fullmatch(_GLUED, lines[above]):
                message = (
                    f"expected a blank after '{glued[2]}:', got '{glued[2]}:{glued[3]}'; "
                    f"write '{glued[2]}: {glued[3]}'"
                )
                return above + 1, len(glued[1]) + len(glued[2]) + 2, _printable(message)
            if not re.fullmatch(_KEY, lines[above]):
                at = len(lines[above]) - len(lines[above].lstrip()) + 1
                return above + 1, at, "expected 'key: value', got a line without a colon; write 'key: value'"
            break
    return line, column, "expected one ': ' in a line, got another; put a text with a colon in quotes"


def _lines(text: str) -> list[str]:
    """Lines as the parser counts them, and an empty one after the last; long ones are cut."""
    return [line[:1000] for line in re.split(_BREAK, text)] + [""]


def _printable(message: str) -> str:
    cut = message if len(message) <= 300 else message[:297] + "..."
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in cut)
