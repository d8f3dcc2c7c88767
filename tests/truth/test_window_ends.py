"""A window's end holds at the end itself, and one step beyond it a brute-force transient breaks its reason.

The transient (`benchmarks.window_ends.transient`) has its own equations, solver and figures derived from data
sheets; it takes nothing from the package but what the documents say. The whole is `python -m
benchmarks.window_ends`.
"""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from benchmarks.window_ends.devices import CASES, _c, _cell, _converter, _i, _lamp, _motor, _r, write
from benchmarks.window_ends.devices import Case as Device
from benchmarks.window_ends.driven import HARDEST, driven
from benchmarks.window_ends.ends import HIGH, STEPS, at_both_ends, beyond, find, held
from benchmarks.window_ends.transient import Move, play
from benchmarks.window_ends.translate import bench_of, lead_ohms

from railwright.documents.loader import load_documents
from railwright.settings.context import sources_of
from railwright.settings.windows import current_limit
from railwright.settings.windows.window import End

BY_NAME = {case.name: case for case in CASES}


@pytest.mark.parametrize("name", ["float switch", "heated window", "relay rack"])
def test_every_end_holds_at_itself_and_breaks_beyond(name: str, tmp_path: Path) -> None:
    device, sought = find(BY_NAME[name], tmp_path), 0
    for window, end in at_both_ends(device):
        told = beyond(device, window, end, far=(1, 2))
        if told is not None:
            sought += 1
            assert told.at, (window.setting, end.side, told)
            assert told.steps, (window.setting, end.side, told)
    assert sought >= 4


@pytest.mark.parametrize("setting", ["current_limit", "ovp", "trip_delay"])
def test_no_case_trips_and_no_fault_does_harm_at_an_end(setting: str, tmp_path: Path) -> None:
    device = find(BY_NAME["float switch"], tmp_path)
    window = device.window(setting)
    for end in (window.low, window.high):
        assert end is not None
        seen = held(device, window, end, 20)
        assert (seen.cases, seen.trips, seen.excess) == (20, 0, {}), end
        assert seen.faults


@pytest.mark.parametrize("name", ["radio", "camera", "bus node"])
def test_an_ovp_holds_at_its_upper_end(name: str, tmp_path: Path) -> None:
    device = find(BY_NAME[name], tmp_path)
    window = device.window("ovp")
    assert window.high is not None
    told = beyond(device, window, window.high)
    assert told is not None
    assert told.at, told


@pytest.mark.parametrize("rise", ["", "2 V/ms"])
@pytest.mark.parametrize(
    ("volts", "ohms", "withstood"), [(13.0, 1.5, 16.5), (12.0, 2.0, 15.5), (24.0, 6.0, 32.0)]
)
def test_a_cell_behind_the_connector_clamps(
    volts: float, ohms: float, withstood: float, rise: str, tmp_path: Path
) -> None:
    """What it takes is what is left between the voltage and its own: so much less rises past the OVP."""
    charged = 1.08 * volts
    case = Device(
        "cell",
        "s.one",
        charged,
        ((withstood, ""),),
        3.9,
        [_cell(volts, ohms)],
        "at load",
        rise,
        "0 A .. 900 mA",
    )
    device = find(case, tmp_path)
    window = device.window("ovp")
    assert window.low is not None
    assert window.high is not None
    assert window.low.value < window.high.value
    limit = device.value("current_limit")
    peaks = [
        c.voltage for _, c in driven(device.documents, device.source, limit, window.high.value, HARDEST, 0.2)
    ]
    assert max(peaks) <= withstood + 3e-3


@pytest.mark.parametrize(
    ("ohms", "constant", "inertia", "torque", "source"),
    [
        (1.1, "60 mN*m/A", "300 g*cm**2", "20 mN*m", "s.large"),
        (3.5, "120 mN*m/A", "400 g*cm**2", "45 mN*m", "s.high"),
        (6.0, "20 mN*m/A", "80 g*cm**2", "1.5 mN*m", "s.one"),
    ],
)
def test_a_motors_longest_time_in_the_limit_is_found(
    ohms: float, constant: str, inertia: str, torque: str, source: str, tmp_path: Path
) -> None:
    """In the limit I it speeds up by J dω/dt = k I - T until k ω = V - R I: longest with J, T and V at their
    upper bounds, k, R and I at their lower. The delay's lower end is no shorter than that, by brute force.
    """
    load = [_motor(ohms, constant, inertia, torque)]
    case = Device("motor", source, 24, ((34, ""),), 14.0, load, settle="600 ms")
    device = find(case, tmp_path)
    end = device.window("trip_delay").low
    assert end is not None
    corner = {**HIGH, "dc_motor.torque_constant": -1, "dc_motor.resistance": -1, "limit": -1, "overshoot": -1}
    moves = [Move(0.0, 24.0, 1000.0)]
    bench = bench_of(device.documents, "main", {"limit": device.value("current_limit")}, moves, corner)
    longest = max(play(bench, 0.6, dt=1e-6).in_limit)
    assert longest <= end.value + 1e-4
    assert longest > 0.85 * end.value or end.key == "range"


@pytest.mark.parametrize(
    ("written", "finding"), [("2.988 A", True), ("1.6 A", True), ("1.1 A", False), ("auto", False)]
)
def test_a_written_limit_is_judged_as_a_recommended_one(written: str, finding: bool, tmp_path: Path) -> None:
    """An output of 2.5 A may give 1.25 A more until its limit has responded; an input that bears 2.4 A bears
    that up to 1.15 A. As fast as the output rises, 470 µF ask for it.
    """
    load = [_r(60.0), {"capacitor": {"capacitance": "2200 uF ± 20 %", "esr": "40 mohm"}}]
    bears = 3.0 if written == "2.988 A" else 2.4
    source = "s.large" if written == "2.988 A" else "s.one"
    volts = 24.0 if written == "2.988 A" else 12.0
    limits = {"current_limit": written}
    case = Device("written", source, volts, ((2 * volts, ""),), bears, load, rise="", limits=limits)
    device = find(case, tmp_path)
    said = [each for each in device.settings.findings if each.rule == "limit-overshoot"]
    assert bool(said) is finding
    limit = device.value("current_limit")
    corner = {"limit": 1, "overshoot": 1, "capacitor.capacitance": 1}
    bench = bench_of(device.documents, "main", {"limit": limit}, [Move(0.0, volts)], corner)
    assert bool(play(bench, 20e-3).current > bears) is finding


@pytest.mark.parametrize(
    ("permitted", "farads", "ohms"),
    [("100 ms", "100 uF", 60.0), ("60 ms", "1 mF", 24.0), ("30 ms", "10 uF", 120.0)],
)
def test_a_rise_at_its_lower_end_meets_the_start_up_time(
    permitted: str, farads: str, ohms: float, tmp_path: Path
) -> None:
    load = [_r(ohms), {"capacitor": {"capacitance": f"{farads} ± 20 %", "esr": "50 mohm"}}]
    case = Device("up", "s.one", 12, ((20, ""),), 2.4, load, rise="1 V/ms", requires=permitted)
    device = find(case, tmp_path)
    window = device.window("rise")
    (end,) = [each for each in window.ends if each.key == "required"]
    told = beyond(device, window, end)
    assert told is not None
    assert told.at, told
    # Half a per cent slower is late, where the charging current counts (else two per cent of the voltage do).
    late = beyond(device, window, type(end)(round(0.98 * end.value), "low", "required", "", ()))
    assert late is not None
    assert not late.at or farads == "10 uF", late


def _coil(ohms: str, henries: str) -> dict[str, Any]:
    return {"coil": {"resistance": ohms, "inductance": henries}}


WINCH = _motor(1.1, "60 mN*m/A", "300 g*cm**2", "20 mN*m")
PUMP = _motor(3.5, "120 mN*m/A", "400 g*cm**2", "45 mN*m", "4 mH")
SWINGS = _motor(0.4, "30 mN*m/A", "60 g*cm**2", "10 mN*m", "2 mH")
ON_THE_WAY = [
    ("winch", "s.large", [WINCH], "at terminals", 2),
    ("pump", "s.high", [PUMP], "at terminals", 2),
    ("much inductance", "s.large", [SWINGS], "at load", 4),
    ("motor and resistor", "s.high", [PUMP, _r(60.0)], "at load", 2),
    ("fast coil", "s.one", [_coil("60 ohm ± 10 %", "0.05 H")], "at terminals", 2),
    ("slow coil", "s.one", [_coil("40 ohm ± 10 %", "2 H"), _c("100 uF")], "at load", 2),
    ("soft start", "s.large", [_converter(20.0, 17, 14, "8 ms"), _c("330 uF")], "at load", 8),
    ("longer soft start", "s.one", [_converter(9.0, 15, 12, "40 ms"), _c("1 mF")], "at terminals", 8),
    ("cell", "s.large", [_cell(22.0, 3.0)], "at terminals", 32),
]
"""What draws something else on the way than once it has settled: device, output, load, where the voltage is
sensed, and how many steps of 1 V/s beyond the end its reason breaks at the latest. Where it swings at the end
of a soft start, or an output's lag counts that no data sheet bounds, these are more.
"""


@pytest.mark.parametrize(
    ("name", "source", "load", "sense", "steps"), ON_THE_WAY, ids=[each[0] for each in ON_THE_WAY]
)
def test_a_rise_at_its_upper_end_stays_within_the_limit_by_what_is_drawn_on_the_way(
    name: str, source: str, load: list[dict[str, Any]], sense: str, steps: int, tmp_path: Path
) -> None:
    device = find(Device(name, source, 24, ((34, ""),), 14.0, load, sense, settle="900 ms"), tmp_path)
    window = device.window("rise")
    (end,) = [each for each in window.ends if each.key == "limit"]
    told = beyond(device, window, end, far=[n for n in STEPS if n <= steps])
    assert told is not None
    assert told.at, told
    assert told.steps, told


@pytest.mark.parametrize(("source", "load"), [(each[1], each[2]) for each in ON_THE_WAY[:8:2]])
def test_the_note_of_a_rise_begins_where_its_window_ends(
    source: str, load: list[dict[str, Any]], tmp_path: Path
) -> None:
    """Before, 350 V/s were said by the one and 351 V/s by the other, and of a motor nothing."""
    case = Device(
        "noted", source, 24, ((34, ""),), 14.0, load, settle="900 ms", limits={"current_limit": "2 A"}
    )
    (end,) = [each for each in find(case, tmp_path).window("rise").ends if each.key == "limit"]
    for rate, noted in ((end.value, False), (end.value + 1.0, True)):
        device = find(replace(case, rise=f"{rate} V/s"), tmp_path / str(noted))
        assert ("ramp-in-limit" in {each.rule for each in device.settings.findings}) is noted


@pytest.mark.parametrize(
    ("source", "volts", "load", "sense"),
    [
        ("s.large", 24.0, [WINCH], "at terminals"),
        ("s.high", 24.0, [PUMP], "at load"),
        ("s.one", 12.0, [_motor(6.0, "20 mN*m/A", "80 g*cm**2", "1.5 mN*m")], "at load"),
        ("s.one", 12.0, [_lamp(12, 10)], "at load"),
        ("s.large", 24.0, [_lamp(24, 60)], "at terminals"),
        ("s.large", 24.0, [_lamp(24, 40), WINCH], "at load"),
    ],
)
@pytest.mark.parametrize("withstood", [1.25, 1.5])
def test_an_ovps_upper_end_counts_a_rotor_that_speeds_up_and_a_lamp_that_warms_up(
    source: str, volts: float, load: list[dict[str, Any]], sense: str, withstood: float, tmp_path: Path
) -> None:
    """No closed form: the brute force plays each fault that drives the input upwards. A sense lead comes off
    at the highest voltage at the terminals, which counts what the whole limit drops along the lead: 0.2 V.
    """
    case = Device("driven", source, volts, ((withstood * volts, ""),), 14.0, load, sense, settle="400 ms")
    device = find(case, tmp_path)
    window = device.window("ovp")
    assert window.high is not None
    if window.high.key == "range":
        return
    told = beyond(device, window, window.high, far=(1, 2, 4, 8) if sense == "at terminals" else (1, 8, 32))
    assert told is not None
    assert told.at, told
    assert told.steps, told


def test_of_a_lamp_no_rise_is_said_to_stay_out_of_the_limit(tmp_path: Path) -> None:
    """Cold it draws twelve times as much: in the limit at any rate worth naming."""
    device = find(Device("lamp", "s.one", 12, ((16, ""),), 3.9, [_lamp(12, 10)]), tmp_path)
    assert "limit" not in [each.key for each in device.window("rise").ends]


@pytest.mark.parametrize("limit", ["2.59 A", "auto", "3.4 A", "5 A"])
@pytest.mark.parametrize(
    ("arrangement", "volts", "ohms", "sense"),
    [
        ("parallel", 24.0, 10.0, "at load"),
        ("parallel", 12.0, 5.0, "at load"),
        ("parallel", 24.0, 10.0, "at terminals"),
        ("series", 48.0, 30.0, "at load"),
    ],
)
def test_an_ovp_of_joined_outputs_lets_stand_what_stands(
    arrangement: str, volts: float, ohms: float, sense: str, limit: str, tmp_path: Path
) -> None:
    """Closed form: V + ε at the load, (V + ε) R_lead / R_load more at the terminals, and the OVP early. In
    parallel both outputs are set high: one stays in its limit, and the other regulates.
    """
    if arrangement == "series" and limit == "5 A":
        limit = "2.2 A"
    limits = {"current_limit": limit} if limit != "auto" else {}
    if arrangement == "parallel":
        limits |= {"at_limit": "regulate", "trip_delay": None}  # type: ignore[dict-item]
    source = {arrangement: ["s.one", "s.two"]}
    case = Device("joined", source, volts, ((1.4 * volts, ""),), 5.6, [_r(ohms)], sense, limits=limits)
    device = find(case, tmp_path)
    end, count = device.window("ovp").low, 2 if arrangement == "series" else 1
    assert end is not None
    assert end.key == "rehearsed"
    set_high = volts * (1.0 + 0.0005) + 8e-3 * count
    lead = lead_ohms(device.documents, "pair", 1.0) if sense == "at load" else 0.0
    stands = set_high * (1.0 + lead / (0.95 * ohms)) + 0.1 * count
    assert stands - 1e-3 <= end.value <= stands + 0.03 * count


def _raised(end: End, by: float) -> End:
    return replace(end, value=round(end.value + by, 6))


@pytest.mark.parametrize(("volts", "withstood", "by"), [(12.0, 15.0, 1.0), (24.0, 30.0, 2.0)])
def test_the_judge_counts_a_voltage_where_the_check_cautions_of_a_current(
    volts: float, withstood: float, by: float, tmp_path: Path
) -> None:
    """Before, whatever came of such a device counted as cautioned of."""
    load = [_r(60.0), {"capacitor": {"capacitance": "2200 uF ± 20 %", "esr": "40 mohm"}}]
    limits = {"current_limit": "1.6 A"}
    case = Device("hot", "s.one", volts, ((withstood, ""),), 2.4, load, "at load", "", limits=limits)
    device = find(case, tmp_path)
    window = device.window("ovp")
    assert window.high is not None
    assert "limit-overshoot" in {each.rule for each in device.settings.findings}
    assert held(device, window, window.high, 20).excess == {}
    assert max(held(device, window, _raised(window.high, by), 20).excess.values()) == 20


@pytest.mark.parametrize(
    ("permitted", "farads", "by", "holds"),
    [("3 ms", "470 uF", 0.6, False), ("3 ms", "470 uF", 0.0, True), ("2 s", "470 uF", 0.6, True)],
)
def test_the_judge_counts_the_time_above_what_is_withstood_for_any(
    permitted: str, farads: str, by: float, holds: bool, tmp_path: Path
) -> None:
    """31 V are withstood for a time, and 26 V for any. From 26.6 V on 570 µF fall to 26 V by 17 mA of the
    bleeder and 2 mA of the load: in 18 ms. Before, no more than the highest voltage was looked at.
    """
    load = [_i("2 mA", 9), _c(farads)]
    case = Device("slow", "s.small", 24, ((26, ""), (31, permitted)), 0.9, load, "at load")
    device = find(case, tmp_path)
    window = device.window("ovp")
    (end,) = [each for each in window.ends if each.key == "brief"]
    always = min(end.value, 25.9)
    told = beyond(device, window, _raised(replace(end, value=always), by), far=())
    assert told is not None
    assert told.at is holds, told


@pytest.mark.parametrize(
    ("volts", "watts", "starts", "stops", "dips"),
    [(24.0, 12.0, 17.0, 14.0, 15.0), (48.0, 30.0, 36.0, 30.0, 32.0), (24.0, 9.0, 20.0, 10.0, 12.0)],
)
def test_a_limit_carries_what_a_converter_draws_lower_than_it_starts(
    volts: float, watts: float, starts: float, stops: float, dips: float, tmp_path: Path
) -> None:
    """1.1 P / (0.82 V) at the lowest level played in the operating range, plus 0.1 % and 4 mA. Before, it was
    what it draws as it starts: as little as 62 % of that.
    """
    load = [_converter(watts, starts, stops, "6 ms"), _c("330 uF")]
    case = Device("dip", "s.high", volts, ((1.3 * volts, ""),), 4.5, load, "at load")
    procedure = write(case, tmp_path / "dip")
    shape = [{"step_to": f"{dips} V"}, {"hold": "300 ms"}, {"step_to": f"{volts} V"}, {"hold": "200 ms"}]
    for name, change in (
        ("p", lambda data: data["steps"].insert(1, {"shape": {"input": "main", "segments": shape}})),
        ("d", lambda data: data["inputs"]["main"].update(operating=f"{dips - 0.5} V .. {1.1 * volts} V")),
    ):
        path = procedure.with_name(f"{name}.yaml")
        data = json.loads(path.read_text("utf-8"))
        change(data)
        path.write_text(json.dumps(data, ensure_ascii=False), "utf-8")
    source = sources_of(load_documents(procedure))[0]["main"]
    end = current_limit.window(source).low
    assert end is not None
    drawn = 1.1 * watts / 0.82 / dips
    assert end.value == pytest.approx(drawn * 1.001 + 4e-3, abs=1.5e-3)
