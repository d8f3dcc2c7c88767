"""The guard needs the standard library and nothing else, and no other package of ours."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

SOURCE = Path(__file__).parents[2] / "src"

PROGRAM = """
import sys
sys.path.insert(0, {source!r})
import railwright.guard.process, railwright.guard.process_link, railwright.guard.off
own = {{name for name in sys.modules if name.startswith("railwright")}}
others = {{name.partition(".")[0] for name in sys.modules}} - set(sys.stdlib_module_names) - {{"railwright"}}
own -= {{"railwright", "railwright.version"}}
print(sorted(name for name in own if not name.startswith("railwright.guard")))
print(sorted(name for name in others if not name.startswith("__")))
"""


def test_it_imports_the_standard_library_only() -> None:
    # -S leaves out the installed packages: whatever the guard needed of them would fail here.
    program = PROGRAM.format(source=str(SOURCE))
    done = subprocess.run(
        [sys.executable, "-I", "-S", "-c", program], capture_output=True, text=True, timeout=60
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout.splitlines() == ["[]", "[]"]
