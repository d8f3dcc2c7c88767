"""The physics' entries: compiled functions that Python calls, kept on disk under a hash of all equations,
those of third parties' loads included.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

from railwright.compilation import Function, compile_kept
from railwright.physics.loads import KINDS

SECONDS = 20.0
"""About how long an entry takes to compile with all that it calls [s]."""


def compiled_entry(*takes: Any) -> Callable[[Function], Function]:
    """Compile a function that Python calls with arguments of these types, and all that it calls in turn."""
    return lambda function: compile_kept(function, takes, "compiled", sources(), seconds=SECONDS)


def sources() -> list[Path]:
    """Every source file of the compiled code."""
    here = Path(__file__).parent
    loads = [Path(str(kind.equations.__file__)) for kind in KINDS.values()]
    return sorted({*here.glob("*.py"), *(here / "loads").glob("*.py"), *loads})
