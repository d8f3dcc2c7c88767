"""From a procedure's path to what a check makes of it: shared by check, rehearse, run and demo."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

from railwright.cli.exits import StoppedByFinding
from railwright.documents.loader import load_documents
from railwright.settings.check import Checked, check, settled
from railwright.settings.hookup import hooked_up


def check_documents(procedure: Path, *, rehearsed: bool, cases: int = 0, seed: int = 1) -> Checked:
    """Load and check, today."""
    hooked = hooked_up(load_documents(procedure))
    return check(hooked, dt.date.today(), rehearsed=rehearsed, cases=cases, seed=seed)


def settle_documents(procedure: Path) -> Checked:
    """Load and settle for a command that needs set points; StoppedByFinding where a limit has none.

    Windows are settled by rehearsal where a value that is worked out hangs on them.
    """
    hooked = hooked_up(load_documents(procedure))
    checked = Checked(hooked.documents, settled(hooked, dt.date.today(), written=False), None)
    missing = [name for name in checked.documents.device.inputs if name not in checked.settings.set_points]
    if missing:
        # All of them, not only those that hide a set point: who mends one would else find the next behind it.
        lines = [f"{f.where}: {f.why}; {f.remedy}" for f in checked.settings.findings if f.blocks]
        raise StoppedByFinding(
            "\n".join(lines or [f"{procedure}: no set points for {', '.join(missing)}; see railwright check"])
        )
    return checked
