"""The fits' entries: their inner loops, which Python calls, compiled and kept on disk."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

from railwright.compilation import Function, compile_kept


def compiled_entry(*takes: Any) -> Callable[[Function], Function]:
    """Compile a function that Python calls with arguments of these types, at its first call."""
    sources = sorted(Path(__file__).parent.glob("*.py"))
    return lambda function: compile_kept(function, takes, "compiled-fit", sources)
