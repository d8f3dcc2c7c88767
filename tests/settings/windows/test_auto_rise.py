"""`rise: auto`: one rate for all inputs of a power-up, written out before anything else looks at it."""

from __future__ import annotations

import json
import math
import re
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
    assert one_sentence(finding.remedy)


def one_sentence(text: str) -> bool:
    """Whether a list of alternatives is not broken off by a full stop within it."""
    return re.search(r"\.\s", text) is None


@pytest.mark.parametrize("most", [20, 22, 25])
@pytest.mark.parametrize("bears", ["1.1 A", "2.5 A"])
def test_the_alternatives_are_one_list(most: int, bears: str, tmp_path: Path) -> None:
    """Also where the limit that would do is beyond what the device bears."""
    quick = ("procedure", "    at_most: 60 ms", f"    at_most: {most} ms")
    borne = ("device", "600 mA, at_most: 2.5 A", f"600 mA, at_most: {bears}")
    (finding,) = of_rule(settle(station(tmp_path, AUTO, quick, borne), TODAY), "empty-window")
    assert one_sentence(finding.remedy)


def test_the_limit_that_the_remedy_names_makes_the_window(tmp_path: Path) -> None:
    """27 ms less 8 ms of soft start: 455 V/s, which the transducer's limit carries too, at 8.6 V. 1.42 mF ask
    for 0.646 A, and 4.77 W at 11.84 V, where its soft start is over, for 0.403 A.
    """
    quick = ("procedure", "    at_most: 60 ms", "    at_most: 27 ms")
    for limit, stops in (("1.06 A", 0), ("1.05 A", 1)):
        edit = ("procedure", "current_limit: 1 A", f"current_limit: {limit}")
        settings = settle(station(tmp_path, AUTO, quick, edit), TODAY)
        assert len(of_rule(settings, "empty-window")) == stops


FAST: Edit = (
    "procedure",
    "  - name: transducer inrush\n",
    "  - {name: transducer up, measure: start_up_time, of: transducer, during: first power, at_most: 40 ms}\n"
    "  - name: transducer inrush\n",
)
"""24.02 V within 40 ms, less some of it: more than 600 V/s, where main bears 406 V/s (see test_rise)."""


@pytest.mark.parametrize("order", [("main", "transducer"), ("transducer", "main")])
def test_two_inputs_of_which_each_has_a_rate_are_told_to_rise_in_steps_of_their_own(
    order: tuple[str, str], tmp_path: Path
) -> None:
    """Done as it says, with what is required of each asked in its own step, nothing is left of the stop."""
    whole: Edit = ("procedure", "order: [main, transducer], gap: 50 ms", f"order: [{', '.join(order)}]")
    (finding,) = of_rule(settle(station(tmp_path, AUTO, FAST, whole), TODAY), "empty-window")
    assert says(finding.remedy, "power_up", "each", order[0], "V/s", order[1], "V/s")
    told = dict(re.findall(r"(\w+) at ([\d.]+) V/s", finding.remedy))
    assert float(told["main"]) < 406.0 < 600.0 < float(told["transducer"])
    steps = [
        f"  - power_up: {{order: [{name}], rise: auto, settle: 150 ms}}\n"
        f"    name: {'first power' if name == 'main' else 'second power'}\n"
        for name in order
    ]
    (tmp_path / "two").mkdir()
    settings = settle(
        station(
            tmp_path / "two",
            FAST,
            (
                "procedure",
                "  - power_up: {order: [main, transducer], gap: 50 ms, rise: 2 V/ms, settle: 150 ms}\n"
                "    name: first power\n",
                "".join(steps),
            ),
            *(
                ("procedure", f"of: transducer{between}during: first power",
                 f"of: transducer{between}during: second power")
                for between in (", ", "\n    ")
            ),
        ),
        TODAY,
    )  # fmt: skip
    assert of_rule(settings, "empty-window") == []
    rates = {reason.about: reason.value for reason in settings.reasons if reason.setting == "rise"}
    assert rates == {name: float(rate) for name, rate in told.items()}


def test_an_input_that_has_no_rate_of_its_own_is_not_helped_by_a_step_of_its_own(tmp_path: Path) -> None:
    quick = ("procedure", "    at_most: 60 ms", "    at_most: 20 ms")
    (finding,) = of_rule(settle(station(tmp_path, AUTO, quick), TODAY), "empty-window")
    assert "power_up" not in finding.remedy


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
