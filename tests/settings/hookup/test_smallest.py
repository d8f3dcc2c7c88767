"""Nothing fits: the finding, the smallest change, and that the change makes it fit."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest
from tests.said import says
from tests.settings.hookup import exhaustive
from tests.settings.hookup.scene import GOOD_LEAD, Data, needs, output, scene, supply

from railwright.dialects.dialect import load_dialect
from railwright.documents.loader import Documents
from railwright.documents.procedure import Override
from railwright.settings.context import Draw, FedInput
from railwright.settings.findings import Finding, Severity
from railwright.settings.hookup import hooked_up
from railwright.settings.settle import settle

JOINS = {"may_join": ["series", "parallel"]}


def finding_of(documents: Documents) -> Finding:
    (finding,) = hooked_up(documents).findings
    assert finding.rule == "hook-up-impossible"
    assert finding.severity is Severity.STOP
    return finding


def changed(make: Callable[..., Documents], said: str, **change: Any) -> None:
    """The finding names this change, and with it every input is fed."""
    finding = finding_of(make())
    assert said in finding.remedy, finding.remedy
    assert finding.remedy.endswith((said, f"{said} for main", f"{said} for heavy")), "expected one change"
    after = make(**change)
    assert hooked_up(after).findings == ()
    assert not any(f.blocks for f in settle(after, exhaustive.TODAY).findings)


def weak_lead(permitted: str = "2 A") -> Documents:
    lead = {**GOOD_LEAD, "permitted_current": permitted}
    return scene({"a": supply(output(30, 5))}, {"main": needs(12, 2.8)}, leads={"lead": lead})


def test_a_lead_that_bears_more():
    changed(weak_lead, "a lead with a 'permitted_current' of 2.9 A or more for main", permitted="2.9 A")


@pytest.mark.parametrize("form", ["sine", "trapezoid"])
@pytest.mark.parametrize(("asked", "lasts", "slower"), [(2.0, "2 s", 1.5), (2.0, "500 ms", 1.56)])
def test_a_ripple_that_the_host_can_time(form: str, asked: float, lasts: str, slower: float):
    """A sine goes in 32 lines a period: 20 ms each are 1.56 Hz, and whole periods of 2 s then 1.5 Hz. A
    trapezoid with edges of 10 ms, of which the host would time halves, gets edges of 40 ms, and 2 Hz stay."""

    def make(frequency: float = asked, duration: str = lasts, edge: str = "10 ms") -> Documents:
        ripple: Data = {"ripple": form, "peak_to_peak": "4 V", "frequency": f"{frequency} Hz"}
        ripple |= {"for": duration} | ({"edges": edge} if form == "trapezoid" else {})
        steps = [{"shape": {"input": "main", "segments": [ripple, {"hold": "1 s"}]}, "name": "hum"}]
        return scene({"a": supply(output(30, 2))}, {"main": needs(12, 0.5)}, steps=steps)

    remedy = finding_of(make()).remedy
    if form == "trapezoid":
        assert says(remedy, "ripple", "'hum'", "edges", "40 ms", "or longer")
        assert hooked_up(make(edge="40 ms")).findings == ()
        return
    assert says(remedy, "ripple", "'hum'", f"{slower:g} Hz", "or less"), remedy
    after = make(slower, lasts if slower == 1.5 else "641.02 ms")
    assert hooked_up(after).findings == ()
    assert not any(f.blocks for f in settle(after, exhaustive.TODAY).findings)


def one_output(*more: Data) -> Documents:
    return scene(
        {"a": supply(output(30, 2)), **({"b": supply(*more)} if more else {})},
        {"main": needs(12, 0.5), "heater": needs(24, 0.5)},
    )


def test_one_more_output_where_there_are_too_few():
    finding = finding_of(one_output())
    assert says(finding.remedy, "12 V", "0.5 A", "error", "main")
    assert says(finding.why, "main", "a.1")
    assert hooked_up(one_output(output(12, 0.5026))).findings == ()


def strong_output(*more: Data) -> Documents:
    return scene(
        {"a": supply(output(30, 2)), **({"b": supply(*more)} if more else {})},
        {"main": needs(12, 0.5), "heater": needs(24, 3)},
    )


def test_one_more_output_where_none_is_strong_enough():
    finding = finding_of(strong_output())
    assert says(finding.remedy, "24 V", "3 A", "error", "heater")
    assert says(finding.why, "a.1", "2 A", "3.005 A")
    assert finding.about == "heater"
    resolved = hooked_up(strong_output())
    assert list(resolved.documents.procedure.hook_up) == ["main"], "the others are hooked up"
    assert hooked_up(strong_output(output(24, 3.0051))).findings == ()


def not_joined(**joins: Any) -> Documents:
    return scene({"a": supply(output(30, 2, **joins), output(30, 2, **joins))}, {"high": needs(48, 0.5)})


def test_outputs_that_the_bench_does_not_let_be_joined():
    finding = finding_of(not_joined())
    assert says(finding.remedy, "a.1", "a.2", "may_join")
    assert hooked_up(not_joined(**JOINS)).findings == ()


def two_in_parallel(at_limit: str = "trip") -> Documents:
    return scene(
        {"a": supply(output(36, 3, **JOINS), output(36, 3, **JOINS))},
        {"heavy": needs(12, 4.2)},
        at_limit=at_limit,
    )


def test_a_limit_that_regulates():
    changed(two_in_parallel, "write 'at_limit: regulate' in the limits of heavy", at_limit="regulate")


def two_coupled(**coupled: Any) -> Documents:
    return scene(
        {"a": supply(output(30, 2), output(30, 2), **coupled)}, {"one": needs(12, 0.5), "two": needs(5, 0.5)}
    )


def test_outputs_that_move_together():
    finding = finding_of(two_coupled(coupled=[{"outputs": ["1", "2"], "by": "step"}]))
    assert says(finding.remedy, "a.1", "a.2", "coupled")
    assert hooked_up(two_coupled()).findings == ()


def brief_dip(hold: str = "10 ms") -> Documents:
    segments = [{"step_to": "9 V"}, {"hold": hold}, {"step_to": "12 V"}, {"hold": "1 s"}]
    steps = [{"name": "dip", "shape": {"input": "main", "segments": segments}}]
    return scene({"a": supply(output(30, 2))}, {"main": needs(12, 0.5)}, steps=steps)


def test_a_shape_that_wants_a_point_list():
    changed(brief_dip, "make every hold and line of 'dip' 20 ms or longer", hold="20 ms")


def unknown_accuracy(**more: Any) -> Documents:
    return scene({"a": supply(output(30, 2, **more))}, {"main": needs(12, 0.5)})


def test_a_figure_of_an_output_that_an_automatic_setting_needs():
    finding = finding_of(unknown_accuracy(programming=None))
    assert says(finding.remedy, "programming", "a.1")
    assert hooked_up(unknown_accuracy()).findings == ()


def unknown_isolation(isolation: str | None = None) -> Documents:
    return scene(
        {"a": supply(output(30, 2, **JOINS), output(30, 2, **JOINS), isolation=isolation)},
        {"high": needs(48, 0.5)},
    )


def test_a_figure_that_is_unknown():
    changed(unknown_isolation, "give 'isolation' of supply a", isolation="100 V")


def thin_lead(one_way_length: str = "6 m") -> Documents:
    lead = {**GOOD_LEAD, "conductor": "AWG 20", "one_way_length": one_way_length}
    return scene(
        {"a": supply(output(30, 5, sense={"compensates": "0.5 V"}))},
        {"main": needs(12, 2)},
        leads={"lead": lead},
        hook_up={"main": {"from": "auto", "sense": "at load"}},
    )


def test_a_lead_that_drops_less():
    said = "a lead of at most 250 mΩ (both ways, contacts and warmth counted)"
    changed(thin_lead, said, one_way_length="3 m")


def limit_too_high(current_limit: str = "2.1 A") -> Documents:
    return scene(
        {"a": supply(output(30, 5))},
        {"main": needs(12, 0.5)},
        limits={"main": {"current_limit": current_limit}},
    )


def test_a_limit_that_the_input_does_not_bear():
    changed(
        limit_too_high,
        "write a 'current_limit' of main above 0.503 A and at most 1.99 A",
        current_limit="1.99 A",
    )


def protected(**limits: Any) -> Documents:
    """Two outputs for two inputs, one of them without over-power protection."""
    opp = {"level": "1 W .. 200 W", "response": "1 ms"}
    return scene(
        {"a": supply(output(30, 5, opp=opp), output(30, 5))},
        {"main": needs(12, 0.5), "heavy": needs(24, 1.0)},
        limits={"main": {"opp": "auto", **limits}, "heavy": {"opp": "auto"}},
    )


def test_an_output_that_would_do_but_for_a_protection_that_is_asked_for():
    finding = finding_of(protected())
    assert says(finding.why, "over-power protection", "a.2")
    assert says(finding.remedy, "opp", "main")
    assert hooked_up(protected(opp=None)).findings == ()


def written_limits(**limits: Any) -> Documents:
    return scene({"a": supply(output(30, 5))}, {"main": needs(12, 0.5)}, limits={"main": limits})


@pytest.mark.parametrize(
    ("limits", "said", "mended"),
    [
        (
            {"at_limit": "trip", "trip_delay": "0.1 ms"},
            "write a 'trip_delay' of main above 1 ms and at most 5 s",
            {"at_limit": "trip", "trip_delay": "1 ms"},
        ),
        ({"ovp": "40 V"}, "write a 'ovp' of main above 12.1 V and at most 28.7 V", {"ovp": "28.7 V"}),
        (
            {"ovp": "12.01 V"},
            "write a 'ovp' of main above 12.1 V and at most 28.7 V",
            {"ovp": "12.1 V"},
        ),
        ({"ocp": "1 A"}, "leave 'ocp' out of the limits of main", {}),
    ],
)
def test_a_word_of_the_procedure_is_the_smallest_change(limits: Data, said: str, mended: Data) -> None:
    finding = finding_of(written_limits(**limits))
    assert said in finding.remedy
    assert "one more output" not in finding.remedy
    assert hooked_up(written_limits(**mended)).findings == ()


@pytest.mark.parametrize(
    ("limits", "said", "mended"),
    [
        ({"ocp": "0.4 A"}, "write a 'ocp' of main above 0.5 A and at most 5 A", "0.6 A"),
        ({"opp": "5 W"}, "write a 'opp' of main above 6 W and at most 150 W", "6.1 W"),
    ],
)
def test_a_protection_below_the_need_is_not_hooked_up_to_be_stopped_by_the_check(
    limits: Data, said: str, mended: str
) -> None:
    own = {"opp": {"level": "1 W .. 150 W"}, "ocp": {"level": "0.1 A .. 5 A", "delay": "0 s .. 1 s"}}

    def of(**limits: Any) -> Documents:
        return scene({"a": supply(output(30, 5, **own))}, {"main": needs(12, 0.5)}, limits={"main": limits})

    assert said in finding_of(of(**limits)).remedy
    (setting,) = limits
    assert hooked_up(of(**{setting: mended})).findings == ()


def test_what_an_ovp_lets_through_while_it_acts_is_asked_before_there_is_a_hook_up():
    """30 V in 10 ms are 2.4 kV/s: 0.24 V in the 100 µs of the response, above 20 V and its error."""

    def of(ovp: str) -> Documents:
        delicate = needs(12, 0.5, withstands=[{"voltage": "20.3 V"}])
        return scene({"a": supply(output(30, 5))}, {"main": delicate}, limits={"main": {"ovp": ovp}})

    assert "at most 20 V" in finding_of(of("20.1 V")).remedy
    assert hooked_up(of("20 V")).findings == ()


def test_a_stop_that_the_procedure_accepts_keeps_no_output_away():
    delicate = needs(12, 0.5, withstands=[{"voltage": "20.3 V"}])
    limits = {"main": {"ovp": "20.1 V"}}
    documents = scene({"a": supply(output(30, 5))}, {"main": delicate}, limits=limits)
    assert hooked_up(documents).findings
    override = {"finding": "ovp-above-withstand", "about": "main", "because": "its clamp was measured"}
    procedure = documents.procedure.model_copy(update={"overrides": (Override.model_validate(override),)})
    settings = settle(replace(documents, procedure=procedure), exhaustive.TODAY)
    assert not settings.blocked
    (accepted,) = [finding for finding in settings.findings if finding.overridden]
    assert accepted.rule == "ovp-above-withstand"


def unknown_sensing(**sense: str) -> Documents:
    wish = {"main": {"from": "auto", "sense": "at load"}}
    return scene({"a": supply(output(30, 2, sense=sense))}, {"main": needs(12, 0.5)}, hook_up=wish)


def test_how_much_drop_sensing_makes_up_for_is_a_figure_that_it_needs():
    assert finding_of(unknown_sensing()).remedy.endswith("fit: give 'compensates' of a.1")
    assert hooked_up(unknown_sensing(compensates="1 V")).findings == ()


def test_an_automatic_trip_delay_needs_the_outputs_own_capacitance():
    def of(**more: Any) -> Documents:
        limits = {"at_limit": "trip", "trip_delay": "auto"}
        bench = {"a": supply(output(30, 5, **more))}
        return scene(bench, {"main": needs(12, 0.5)}, limits={"main": limits})

    assert finding_of(of()).remedy.endswith("fit: give 'output_capacitance' of a.1")
    hooked = of(output_capacitance="100 uF")
    assert hooked_up(hooked).findings == ()
    assert not any(f.rule == "auto-impossible" for f in settle(hooked, exhaustive.TODAY).findings)


def test_outputs_that_together_would_reach_are_told_before_single_ones_that_do_not():
    ovp = {"level": "1 V .. 11 V", "accuracy": "50 mV", "response": "100 us"}
    outputs = [output(20, 5, ovp=ovp, **JOINS), output(20, 5, ovp=ovp, **JOINS), *[output(5, 1)] * 4]
    finding = finding_of(scene({"a": supply(*outputs)}, {"main": needs(24, 1.0)}))
    assert says(finding.why, "main", "a.1", "a.2", "lead")
    assert says(finding.why, "22 V")


def test_a_figure_of_the_device_that_no_output_can_keep():
    frail = needs(12, 0.5, withstands=[{"voltage": "12.1 V"}])
    finding = finding_of(scene({"a": supply(output(30, 5))}, {"main": frail}))
    assert says(finding.remedy, "main", "output")
    assert says(finding.remedy, "12.1 V")


def test_an_output_with_a_better_ovp():
    def of(accuracy: str) -> Documents:
        ovp = {"level": "1 V .. 33 V", "accuracy": accuracy, "response": "10 us"}
        delicate = needs(12, 0.5, withstands=[{"voltage": "14 V"}])
        return scene({"a": supply(output(30, 5, ovp=ovp))}, {"main": delicate})

    finding = finding_of(of("2 V"))
    assert says(finding.remedy, "50 mV", "main")
    assert hooked_up(of("50 mV")).findings == ()


def test_a_negative_nominal_voltage_is_told_how_to_be_written():
    signed = needs(12, 0.5, nominal="-12 V", operating="-13 V .. -11 V")
    finding = finding_of(scene({"a": supply(output(30, 5))}, {"minus": signed}))
    assert says(finding.remedy, "rail: negative")
    assert says(finding.why, "a.1", "0 V", "-12 V")
    written = needs(12, 0.5, rail="negative")
    assert hooked_up(scene({"a": supply(output(30, 5))}, {"minus": written})).findings == ()


def test_a_resistor_below_0_v_is_told_how_to_be_written():
    signed = needs(12, 0.5, nominal="-12 V", operating="-13 V .. -11 V")
    signed |= {"current": {}, "load": [{"resistor": {"resistance": "24 ohm"}}]}
    finding = finding_of(scene({"a": supply(output(30, 5))}, {"minus": signed}))
    assert says(finding.remedy, "rail: negative")


def test_what_an_input_draws_is_unknown(monkeypatch):
    # Such as a load of the user's own whose steady draw only a rehearsal can tell.
    known = [Draw(0.5, "the declared steady current", True)]
    monkeypatch.setattr(FedInput, "asked", property(lambda source: [] if source.name == "main" else known))
    documents = scene({"a": supply(output(30, 5))}, {"main": needs(12, 0.5), "other": needs(5, 0.5)})
    finding = finding_of(documents)
    assert finding.about == "main"
    assert says(finding.why, "draws", "unknown")
    assert list(hooked_up(documents).documents.procedure.hook_up) == ["other"]


@pytest.mark.parametrize("make", [weak_lead, one_output, strong_output, not_joined, two_in_parallel])
def test_it_stops_and_cannot_be_accepted(make):
    documents = make()
    override = {"finding": "hook-up-impossible", "because": "in a hurry"}
    procedure = documents.procedure.model_copy(update={"overrides": (Override.model_validate(override),)})
    settings = settle(replace(documents, procedure=procedure), exhaustive.TODAY)
    assert settings.blocked
    assert "override-no-effect" in {f.rule for f in settings.findings}


def test_what_speaks_against_several_outputs_is_said_once_with_their_names():
    limits = {"main": {"current_limit": "1.6 A"}}
    outputs = [output(30, 3, rise=f"{10 + n} ms") for n in range(4)]
    finding = finding_of(scene({"a": supply(*outputs)}, {"main": needs(12, 2.2)}, limits=limits))
    assert finding.why.count("2.2 A") == 1
    assert says(finding.why, "a.1", "a.2", "a.3", "a.4", "1.596 A", "2.2 A")
    assert finding.why.count("1.596 A") == 1


@pytest.mark.parametrize(("outputs", "delay"), [(1, "40 ms"), (2, "100 ms"), (1, "auto")])
def test_a_trip_delay_that_no_command_sets_is_a_figure_of_the_bench(
    outputs: int, delay: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The smallest change is the one that the rule names; where the dialect has no trip either, it is the
    procedure's word."""
    dialect = load_dialect("channel-list")
    lacks = {"trip_delay"}
    monkeypatch.setattr(
        "railwright.documents.bench.load_dialect",
        lambda name: dialect.model_copy(
            update={"settings": {key: each for key, each in dialect.settings.items() if key not in lacks}}
        ),
    )

    def make(reach: str = "1 ms .. 5 s", at_limit: str = "trip") -> Documents:
        rows = [output(30, 5, trip_delay=reach, output_capacitance="100 uF") for _ in range(outputs)]
        limits = {"main": {"at_limit": at_limit, **({"trip_delay": delay} if at_limit == "trip" else {})}}
        return scene({"a": supply(*rows)}, {"main": needs(12, 0.5)}, limits=limits)

    finding = finding_of(make())
    assert says(finding.remedy, "trip delay", "a.1", "bench")
    assert "regulate" not in finding.remedy
    assert finding.where is not None
    assert finding.where.file == "bench"
    assert hooked_up(make("100 ms .. 100 ms" if delay == "auto" else f"{delay} .. {delay}")).findings == ()
    lacks.add("trip_at_limit")
    finding = finding_of(make())
    assert says(finding.remedy, "main", "regulate")
    assert "a.1" not in finding.remedy
    assert hooked_up(make(at_limit="regulate")).findings == ()
