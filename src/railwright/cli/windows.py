"""Windows of settings as `check` prints them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from railwright.cli.console import table
from railwright.quantities import show
from railwright.settings.windows.window import End, Window

if TYPE_CHECKING:
    from rich.table import Table


def windows_table(windows: Sequence[Window]) -> Table:
    """Of each setting: from where to where it is right, what is recommended, and what decides each end."""
    columns = ("Input", "Setting", "From", "To", "Recommended", "Decided by")
    rows = [_row(window) for window in windows]
    return table("Windows", columns, rows, right=("From", "To", "Recommended"))


def _row(window: Window) -> tuple[str, ...]:
    ends = (window.low, window.high)
    low, high = (_value(end, window.unit) for end in ends)
    lines = [f"{mark} {_why(end)}" for mark, end in zip("≥≤", ends, strict=True) if end is not None]
    lines += [f"? {impossible.why}" for impossible in window.lacks]
    if len(window.parts) > 1:
        lines.append(f"each output: {_outputs(window)}")
    value = "" if window.recommended is None else show(window.recommended, window.unit)
    if not window.used:
        lines.append("not asked for by the procedure")
    return window.about, window.setting.replace("_", " "), low, high, value, "\n".join(lines)


def _value(end: End | None, unit: str) -> str:
    return "?" if end is None else "none" if end.value < 0.0 else show(end.value, unit)


def _why(end: End) -> str:
    return f"{end.why}{' (closed form)' if end.bracket else ''}"


def _outputs(window: Window) -> str:
    """The window of each output of a group."""
    said = []
    for name in window.parts:
        low, high, value = window.of_output(name)
        shown = ["?" if each is None else show(each, window.unit) for each in (low, high)]
        chosen = "" if value is None else f", recommended {show(value, window.unit)}"
        said.append(f"{name} {shown[0]} to {shown[1]}{chosen}")
    return "; ".join(said)
