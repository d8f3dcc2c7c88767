"""What a command loads: nothing that it has no use for."""

import subprocess
import sys

import pytest

from railwright.examples import example

LOADED = """
import sys
from railwright.cli import main
try:
    main()
except SystemExit:
    pass
print(*sys.modules, file=sys.stderr)
"""


@pytest.mark.parametrize(
    ("command", "useless"),
    [
        (
            ["check", "--static"],
            {
                *("importlib.metadata", "email", "zipfile", "json", "numpy", "numba", "pandas"),
                *("rich.console", "railwright.guard.off_plan"),
            },
        ),
        (["check"], {"pandas", "pyarrow", "matplotlib", "rich.console", "railwright.guard.off_plan"}),
        (["rehearse"], {"pandas", "pyarrow", "matplotlib"}),
    ],
)
def test_a_command_loads_what_it_needs(command: list[str], useless: set[str]) -> None:
    """It also says when another version of pydantic looks for its plugins elsewhere."""
    procedure = str(example() / "power-input.procedure.yaml")
    done = subprocess.run(
        [sys.executable, "-c", LOADED, *command, procedure], capture_output=True, text=True, check=True
    )
    loaded = set(done.stderr.splitlines()[-1].split())
    assert "pydantic" in loaded
    assert not loaded & useless
