"""What commands print with: tables that read without colour, severity and outcome by word and shape."""

from __future__ import annotations

import codecs
import math
import os
import re
import sys
from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Any, TextIO

from railwright.printable import printable

if TYPE_CHECKING:
    from rich.console import Console
    from rich.table import Table

SEVERITY_MARKS = {"stop": "■ stop", "caution": "▲ caution", "note": "· note"}
WHOLE = ("Severity", "Outcome", "Value", "Time")
"""Columns whose cells are never broken into lines."""
OUTCOME_MARKS = {
    "pass": "● pass",
    "fail": "✕ fail",
    "inconclusive": "◌ inconclusive",
    "not judged": "– not judged",
}


def console(file: TextIO | None = None) -> Console:
    """A console for people, on `file` or standard output. Piped output is not cut off at the width of a
    terminal that is not there, and its lines end with their last word. Texts are made printable; the
    sequences that rich writes itself pass. A table without rows is not printed.
    """
    from rich.console import Console
    from rich.table import Table

    class Plain(Console):
        def print(self, *objects: Any, **options: Any) -> None:
            """As rich does, with texts from outside fit to print."""
            filled = [o for o in objects if not isinstance(o, Table) or o.row_count]
            if objects and not filled:
                return
            kept = [printable(o) if isinstance(o, str) else o for o in filled]
            if self.is_terminal:
                super().print(*kept, **options)
                return
            with self.capture() as shown:
                super().print(*kept, **options)
            self.file.write("\n".join(line.rstrip(" ") for line in shown.get().split("\n")))
            self.file.flush()

    width = piped_width(file or sys.stdout)
    return Plain(file=file, width=width, highlight=False, markup=False, emoji=False, soft_wrap=False)


def piped_width(file: TextIO) -> int | None:
    """Columns of what goes to no terminal; None where a terminal, or `COLUMNS`, says how many there are."""
    return None if file.isatty() or "COLUMNS" in os.environ else 120


def table(
    title: str, columns: Sequence[str], rows: Iterable[Sequence[str]], *, right: Sequence[str] = ()
) -> Table:
    """A plain table: a heading, a rule, rows. `right`: columns aligned to the right."""
    from rich import box
    from rich.table import Table
    from rich.text import Text

    made = Table(
        title=Text(printable(title)),
        title_justify="left",
        title_style="bold",
        box=box.SIMPLE_HEAD,
        pad_edge=False,
    )
    for index, name in enumerate(columns):
        last = index == len(columns) - 1
        made.add_column(
            name,
            justify="right" if name in right else "left",
            overflow="fold",
            no_wrap=name in WHOLE,
            ratio=1 if last else None,
        )
    for row in rows:
        made.add_row(*(Text(printable(cell)) for cell in row))
    return made


def print_json(data: Mapping[str, Any]) -> None:
    """One JSON document on standard output. A number that JSON has not (infinite) is null.

    What standard output cannot encode, and what would steer a terminal, is escaped as JSON has it.
    """
    import json  # most commands print none

    encoding = codecs.lookup(sys.stdout.encoding or "utf-8").name
    text = json.dumps(_plain(data), ensure_ascii=encoding != "utf-8", indent=2, allow_nan=False)
    print(re.sub(_STEERING, lambda found: f"\\u{ord(found[0]):04x}", text))


_STEERING = "[\x7f-\x9f\u2028-\u202e\u2066-\u2069\ud800-\udfff]"
"""DEL and C1, marks that turn the direction of a line, half characters of a file name that is no UTF-8."""


def _plain(value: Any) -> Any:
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, Mapping):
        return {str(key): _plain(part) for key, part in value.items()}
    return [_plain(part) for part in value] if isinstance(value, list | tuple) else value
