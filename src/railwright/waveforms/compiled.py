"""Compilation of the fits' inner loops, kept on disk."""

from __future__ import annotations

from pathlib import Path

from railwright.compiled_cache import Function, compile_kept


def compiled(function: Function) -> Function:
    """Compile at the first call, and keep the result. It releases the interpreter's lock."""
    return compile_kept(function, "compiled-fit", sorted(Path(__file__).parent.glob("*.py")))
