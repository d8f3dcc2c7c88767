"""First power-ups of a horn controller, fed by two outputs in series behind a relay and by two in parallel:
what is written passes its own check.
"""

from __future__ import annotations

import datetime as dt
import shutil
from pathlib import Path

import pytest

from railwright.documents.loader import Documents, load_bench, load_device, load_documents
from railwright.documents.procedure import Procedure
from railwright.first_power.make import first_power
from railwright.settings.check import Checked, check
from railwright.settings.hookup import hooked_up

TODAY = dt.date(2026, 11, 25)
HORN = Path(__file__).parent / "horn"
PARTS = ("leads", "rise")
Edit = tuple[str, str, str]


def made(folder: Path, *edits: Edit, given: Procedure | None = None) -> dict[str, Documents]:
    """Both parts, from copies with these edits (file, old, new)."""
    folder.mkdir(exist_ok=True)
    for path in HORN.iterdir():
        shutil.copyfile(path, folder / path.name)
    for name, old, new in edits:
        text = (folder / name).read_text("utf-8")
        assert old in text, old
        (folder / name).write_text(text.replace(old, new, 1), "utf-8")
    device, bench = load_device(folder / "horn.device.yaml"), load_bench(folder / "shed.bench.yaml")
    paths = ("horn.device.yaml", "shed.bench.yaml")
    written = first_power(device.model, bench.model, paths, given, TODAY)
    for part in PARTS:
        (folder / f"{part}.procedure.yaml").write_text(getattr(written, part), "utf-8")
    return {part: load_documents(folder / f"{part}.procedure.yaml") for part in PARTS}


def checked(documents: Documents) -> Checked:
    return check(hooked_up(documents), TODAY)


HEAVY = (
    ("horn.device.yaml", "current: 2.4 A ± 5 %, compliance", "current: 3.4 A ± 5 %, compliance"),
    ("horn.device.yaml", "steady: 1.5 A .. 2.9 A, at_most: 6 A", "steady: 2.5 A .. 3.6 A, at_most: 8 A"),
)
"""More than either of the outputs in parallel carries alone."""


@pytest.mark.parametrize(
    ("edits", "trips"),
    [
        # At 2.7 V one output carries what flows (2.13 A of 2.5 A); at 5 V neither carries the 3.4 A alone.
        ((), {"leads": ("trip", "trip"), "rise": ("trip", "regulate")}),
        (HEAVY, {"leads": ("trip", "regulate"), "rise": ("trip", "regulate")}),
    ],
)
def test_outputs_in_parallel_trip_only_where_each_can_carry_it_all(
    edits: tuple[Edit, ...], trips: dict[str, tuple[str, str]], tmp_path: Path
) -> None:
    for part, documents in made(tmp_path / "horn", *edits).items():
        limits = documents.procedure.limits
        assert documents.procedure.hook_up["logic"].arrangement == "parallel"
        assert (limits["drive"].at_limit, limits["logic"].at_limit) == trips[part]
        found = checked(documents).settings.findings
        assert not [each for each in found if each.severity == "stop"]
        # Nor is there a window that only a power-up to 0 V leaves open: 68 mA are enough for part 1.
        assert not [each for each in found if each.rule == "outside-window"]
