"""docs/new-load.md: its example is run as it stands there."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

from tests.bench import DEVICE, copy_demo, edit

PAGE = Path(__file__).parents[3] / "docs" / "new-load.md"
BLOCK = re.compile(r"^`([\w.-]+)`:\n\n```\w+\n(.*?)^```$", re.MULTILINE | re.DOTALL)
OUTPUT = re.compile(r"^```text\n(.*?)^```$", re.MULTILINE | re.DOTALL)
FIRST_LOAD = "      - capacitor: {capacitance: 1000 uF ± 20 %, esr: 60 mohm}\n"


def test_the_example_of_the_page_gives_what_the_page_says(tmp_path):
    text = PAGE.read_text(encoding="utf-8")
    blocks = dict(BLOCK.findall(text))
    copy_demo(tmp_path)
    edit(tmp_path / DEVICE, FIRST_LOAD, FIRST_LOAD + blocks.pop(DEVICE))
    assert set(blocks) == {"hold_up_bank.py", "rehearse_it.py"}
    for name, content in blocks.items():
        (tmp_path / name).write_text(content, encoding="utf-8")
    done = subprocess.run(
        [sys.executable, "rehearse_it.py"],
        capture_output=True,
        text=True,
        cwd=tmp_path,
        env={**os.environ, "PYTHONIOENCODING": "utf-8"},
        check=False,
    )
    assert done.stderr == ""
    assert done.stdout == OUTPUT.search(text)[1]


def test_the_example_says_what_is_wrong_with_its_own_fields(tmp_path):
    blocks = dict(BLOCK.findall(PAGE.read_text(encoding="utf-8")))
    copy_demo(tmp_path)
    edit(tmp_path / DEVICE, FIRST_LOAD, blocks[DEVICE].replace("150 mA", "150 mV"))
    (tmp_path / "hold_up_bank.py").write_text(blocks["hold_up_bank.py"], encoding="utf-8")
    program = "import hold_up_bank; from railwright.cli import main; main()"
    done = subprocess.run(
        [sys.executable, "-c", program, "check", "power-input.procedure.yaml"],
        capture_output=True,
        text=True,
        cwd=tmp_path,
        check=False,
    )
    assert done.returncode == 2
    expected = f"{DEVICE}:16:69: expected a current such as '250 mA', got '150 mV': 'mV' is a voltage"
    assert expected in done.stdout + done.stderr
