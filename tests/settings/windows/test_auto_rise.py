"""`rise: auto`: one rate for all inputs of a power-up, written out before anything else looks at it."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path

import pytest
from tests.said import says
from tests.settings.station import TODAY, Edit, of_rule, station

from railwright.plan.timeline import build_timeline
from railwright.settings.data import as_data, settings_from_data
from railwright.settings.hookup import hooked_up
from railwright.settings.settle import settle
from railwright.settings.windows.auto_rise import as_risen, rates_told

AUTO: Edit = ("procedure", "rise: 2 V/ms, settle", "rise: auto, settle")


def test_within_the_windows_of_all_inputs(tmp_path: Path) -> None:
    """202 V/s for the start-up time, 406 V/s by C·dV/dt (see test_rise): both of main; the transducer's
    window is wider.
    """
    settings = settle(station(tmp_path, AUTO), TODAY)
    (reason,) = [each for each in settings.reasons if each.setting == "rise"]
    assert (reason.about, reason.value, reason.unit) == ("main, transducer", 320.0, "V/s")
    assert says(reason.why, "start-up time", "60 ms", "12.01 V")
    assert "by C·dV/dt" in reason.why
    for about in ("main", "transducer"):
        window = next(w for w in settings.windows if (w.about, w.setting) == (about, "rise"))
        assert window.asked == 320.0
        assert window.broken(320.0) == []


def test_it_is_played_at_that_rate(tmp_path: Path) -> None:
    documents = hooked_up(station(tmp_path, AUTO)).documents
    assert documents.procedure.auto_rises == ()
    lines = [a for a in build_timeline(documents.procedure, documents.device).actions if a.kind == "line"]
    assert (lines[0].voltage, lines[0].over) == (12.0, pytest.approx(12.0 / 320.0))


def test_where_no_rate_is_right_it_is_a_stop(tmp_path: Path) -> None:
    """20 ms less 8 ms of soft start and 80 µs of recovery for the 8.6 V at which it starts: 722 V/s; 1.42 mF
    at that rate ask for 1.026 A, and 5.28 ms of its soft start for 0.262 A: with 5.3 mA of error, which lets
    too much through until it has responded.
    """
    quick = ("procedure", "    at_most: 60 ms", "    at_most: 20 ms")
    settings = settle(station(tmp_path, AUTO, quick), TODAY)
    (reason,) = [each for each in settings.reasons if each.setting == "rise"]
    assert reason.value == math.ceil(8.6 / (20e-3 - 8e-3 - 80e-6))
    assert says(reason.why, "no rate")
    (finding,) = of_rule(settings, "empty-window")
    assert finding.blocks
    assert says(finding.why, "main", "transducer", "722 V/s", "main")
    assert says(finding.why, "406 V/s", "main")
    assert says(finding.remedy, "1.2937 A", "1.245 A")


def test_the_limit_that_the_remedy_names_makes_the_window(tmp_path: Path) -> None:
    """27 ms less 8 ms of soft start: 455 V/s, which the transducer's limit carries too, at 8.6 V. 1.42 mF ask
    for 0.646 A, and 4.77 W at 11.84 V, where its soft start is over, for 0.403 A.
    """
    quick = ("procedure", "    at_most: 60 ms", "    at_most: 27 ms")
    for limit, stops in (("1.06 A", 0), ("1.05 A", 1)):
        edit = ("procedure", "current_limit: 1 A", f"current_limit: {limit}")
        settings = settle(station(tmp_path, AUTO, quick, edit), TODAY)
        assert len(of_rule(settings, "empty-window")) == stops


def test_without_the_outputs_own_capacitance_there_is_none(tmp_path: Path) -> None:
    lacking = ("bench", "        output_capacitance: 220 uF\n", "")
    (finding,) = of_rule(settle(station(tmp_path, AUTO, lacking), TODAY), "auto-impossible")
    assert says(finding.why, "rise: auto", "main", "transducer")
    assert finding.blocks


def test_a_run_is_judged_at_the_rate_that_it_was_done_with(tmp_path: Path) -> None:
    documents = station(tmp_path, AUTO)
    assert hooked_up(documents).rises == {0: 320.0}
    done = as_risen(documents, {0: 150.0})
    assert done.procedure.steps[0].power_up is not None
    assert done.procedure.steps[0].power_up.rate == 150.0
    with pytest.raises(KeyError):
        as_risen(documents, {})


def test_settings_keep_the_rate_that_was_worked_out(tmp_path: Path) -> None:
    documents = station(tmp_path, AUTO)
    settings = settle(documents, TODAY)
    assert settings.rises == {0: 320.0}
    data = json.loads(json.dumps(as_data(settings)))
    assert settings_from_data(data).rises == {0: 320.0}
    del data["rises"]
    earlier = settings_from_data(data)
    assert earlier.rises is None
    assert rates_told(documents, earlier.reasons) == {0: 320.0}
    with pytest.raises(KeyError):
        rates_told(documents, ())
    with pytest.raises(KeyError):
        rates_told(documents, [replace(each, value="fast") for each in earlier.reasons])
