"""The set-up sheet of an input that has a source of its own and is fed with current."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

from tests.running.charging import written
from tests.said import says

from railwright.report.sheet import sheet_of


def test_what_stands_there_is_read_before_the_output_goes_on(tmp_path: Path) -> None:
    check = written(tmp_path).check(static=True)
    order = sheet_of(check.checked.documents, check.settings, dt.date(2026, 11, 30))["order"]
    told = [words for words, _ in order]
    (on,) = [words for words in told if "switch on" in words]
    assert says(on, "2.5 V", "4.1 V", "plus at plus", "4.1 V")
    assert "minimum" not in on
    (verify,) = [words for words in told if words.startswith("Verify")]
    assert says(verify, "0.4 A", "4.1 V")
    assert "onstant voltage" not in verify
