"""First power-ups of a horn controller, fed by two outputs in series behind a relay and by two in parallel:
what is written passes its own check.
"""

from __future__ import annotations

import datetime as dt
import re
import shutil
from pathlib import Path

import pytest
from tests.multimeter.station import network_of
from tests.said import says

from railwright.documents.loader import Documents, load_bench, load_device, load_documents
from railwright.first_power.figures import NotPossible
from railwright.first_power.make import first_power
from railwright.guard.local_link import LocalLink
from railwright.report.sheet import sheet_of
from railwright.report.sheet_page import sheet_pdf
from railwright.running.outcome import Ended
from railwright.running.runner import run
from railwright.settings.check import Checked, check
from railwright.settings.data import as_data
from railwright.settings.hookup import hooked_up

TODAY = dt.date(2026, 11, 25)
HORN = Path(__file__).parent / "horn"
PARTS = ("leads", "rise")
Edit = tuple[str, str, str]


def made(folder: Path, *edits: Edit, given: bool = False) -> dict[str, Documents]:
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
    procedure = load_documents(folder / "horn.procedure.yaml").procedure if given else None
    written = first_power(device.model, bench.model, paths, procedure, TODAY)
    for part in PARTS:
        (folder / f"{part}.procedure.yaml").write_text(getattr(written, part), "utf-8")
    return {part: load_documents(folder / f"{part}.procedure.yaml") for part in PARTS}


def checked(documents: Documents, *, rehearsed: bool = True) -> Checked:
    return check(hooked_up(documents), TODAY, rehearsed=rehearsed)


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


PROCEDURE, BENCH = "horn.procedure.yaml", "shed.bench.yaml"
SECOND_CONTACT = (
    (BENCH, "  horn gate: {", "  lamp gate: {switch: {starts: open, resistance: 20 mohm}}\n  horn gate: {"),
    (
        BENCH,
        "      gate: {channel: 101,",
        "      lamp: {channel: 102, fixture: lamp gate, without_power: open, voltage: 100 V, current: 9 A}\n"
        "      gate: {channel: 101,",
    ),
    (PROCEDURE, "lead: grey pair, sense", "lead: grey pair, fixture: lamp gate, sense"),
    (PROCEDURE, "close: [gate], settle: 50 ms", "close: [lamp, gate], settle: 100 ms"),
)
"""One in the other input's lead, too; 50 ms are taken for it, as the bench does not say."""


@pytest.mark.parametrize(
    ("edits", "closed", "settle"),
    [
        ((), {"gate"}, 0.02),  # 12 ms, in whole 10 ms
        (SECOND_CONTACT, {"gate", "lamp"}, 0.07),  # 12 ms and 50 ms
        (((BENCH, "starts: open,", "starts: closed,"),), set(), 0.0),
        # Closed too late in the procedure that is given: first power closes it before anything is on.
        (
            (
                (PROCEDURE, "  - relays: {close: [gate], settle: 50 ms}\n    name: connect\n", ""),
                (PROCEDURE, "  - hold: 2 s\n", "  - relays: {close: [gate], settle: 50 ms}\n  - hold: 2 s\n"),
            ),
            {"gate"},
            0.02,
        ),
    ],
)
def test_relays_in_the_leads_are_closed_first_and_inputs_stay_tied_as_given(
    edits: tuple[Edit, ...], closed: set[str], settle: float, tmp_path: Path
) -> None:
    for documents in made(tmp_path / "horn", *edits, given=True).values():
        procedure = documents.procedure
        moved = procedure.steps[0].relays
        assert (set(moved.close) if moved else set(), moved.settle if moved else 0.0) == (closed, settle)
        ups = [step.power_up for step in procedure.steps if step.power_up is not None]
        assert [up.order for up in ups] == [("logic", "drive")]
        assert procedure.steps[-1].power_down is not None
        assert procedure.steps[-1].power_down.order == ("drive", "logic")
        assert procedure.limits["drive"].trips_when == ("logic",)
        assert procedure.limits["logic"].off_after == ("drive",)
        found = checked(documents, rehearsed=False).settings.findings
        assert not [each for each in found if each.severity == "stop"]
        assert not {each.rule for each in found} & {"relay-open", "switch-open", "off-after-unlinked"}


@pytest.mark.parametrize(
    ("faults", "causes"),
    [
        ((), ()),
        (("contact stuck drive",), ("drive", "drive to 6.5 V", "its lead open")),
        (("open drive",), ("drive", "drive to 6.5 V", "its lead open")),
    ],
)
def test_a_dead_input_behind_a_relay_ends_the_rise(
    faults: tuple[str, ...], causes: tuple[str, ...], tmp_path: Path
) -> None:
    """A whole run on twins in virtual time, whose relays are instruments of their own."""
    made(tmp_path / "horn", given=True)
    with network_of(tmp_path / "horn" / "rise.procedure.yaml", faults=faults, seed=1) as (job, network, loop):
        settings = job.check(static=True).settings
        outcome = run(
            job.documents, settings.set_points, unit="T-1", operator="O", folder=tmp_path / "run",
            settings=as_data(settings), link=LocalLink(loop, network.connect),
        )  # fmt: skip
    assert outcome.ended is (Ended.STOPPED if causes else Ended.COMPLETED)
    assert not causes or says(outcome.cause, *causes)


def test_a_lead_that_nothing_closes_is_refused_in_words(tmp_path: Path) -> None:
    text = (HORN / BENCH).read_text("utf-8")
    relays = text[text.index("relays:") : text.index("multimeters:")]
    steps = (HORN / PROCEDURE).read_text("utf-8").splitlines(keepends=True)
    moving = [line for line in steps if "relays:" in line]
    edits = [(BENCH, relays, ""), (PROCEDURE, "    name: connect\n", "")]
    edits += [(PROCEDURE, line, "") for line in moving]
    with pytest.raises(NotPossible) as refused:
        made(tmp_path / "horn", *edits, given=True)
    assert says(str(refused.value), "drive", "horn gate", "starts: closed")


def test_the_sheet_of_a_rise_is_one_page_with_every_stage_and_the_current_there(tmp_path: Path) -> None:
    """Of logic 2.4 A ± 5 %, in proportion below its compliance of 3.2 V; of drive 22 kohm
    ± 5 % and, from 38 V on, 18 W ± 5 % at 88 % to 92 %. Read to 0.2 % and, of two outputs in parallel, 2 (4 +
    0.2 + 4 · 0.3) mA, of two in series (4 + 0.1 + 4 · 0.3) mA.
    """
    documents = made(tmp_path / "horn", given=True)["rise"]
    data = sheet_of(documents, checked(documents, rehearsed=False).settings, TODAY)
    tasks = {words.split(":")[0]: parts for words, parts in data["order"]}
    amperes = {
        name: [re.findall(r"([\d.]+)\s(\S?)A\b", part.replace("\u200b", "")) for part in tasks[name]]
        for name in ("logic", "drive")
    }
    prefix = {"": 1.0, "m": 1e-3, "µ": 1e-6}
    told = {
        name: [[float(number) * prefix[small] for number, small in each] for each in stages]
        for name, stages in amperes.items()
    }
    wanted = {
        "logic": [(2.28 * 2.7 / 3.2, 2.52 * 2.7 / 3.2), (2.28, 2.52), (2.28, 2.52)],
        "drive": [
            (6.5 / 23.1e3, 6.5 / 20.9e3),
            *((17.1 / 0.92 / v + v / 23.1e3, 18.9 / 0.88 / v + v / 20.9e3) for v in (38.0, 48.0)),
        ],
    }
    for name, stages in wanted.items():
        own = {"logic": 10.8e-3, "drive": 5.3e-3}[name]
        read = [(max(0.0, 0.998 * low - own), 1.002 * high + own) for low, high in stages]
        assert told[name] == [pytest.approx(stage, rel=5e-3) for stage in read]
    pdf = sheet_pdf(data, dt.datetime(2026, 11, 25, 12, 0, tzinfo=dt.UTC))
    assert len(re.findall(rb"/Type\s*/Page\b", pdf)) == 1


@pytest.mark.parametrize(("first", "then"), [("logic", "drive"), ("drive", "logic")])
def test_the_order_of_two_power_ups_is_taken_and_what_else_the_limits_say(
    first: str, then: str, tmp_path: Path
) -> None:
    """Neither the device nor `off_after` wants an order here."""
    order = "order:\n  - {after: logic, then: drive, delay: 50 ms .. 500 ms}\n"
    edits = [("horn.device.yaml", order, "")]
    edits += [(PROCEDURE, "    trips_when: [logic]\n", ""), (PROCEDURE, "    off_after: [drive]\n", "")]
    ups = "  - power_up: {order: [%s], rise: auto, settle: 120 ms}\n    name: logic up\n"
    edits += [(PROCEDURE, ups % "logic", ups % first)]
    edits += [(PROCEDURE, "{order: [drive], rise: auto, settle: 300 ms}", f"{{order: [{then}]}}")]
    edits += [(PROCEDURE, "order: [drive, logic], gap", f"order: [{then}, {first}], gap")]
    edits += [
        (PROCEDURE, "    ovp: auto\n", "    ovp: auto\n    opp: auto\n    ocp: 2 A\n    ocp_delay: 10 ms\n")
    ]
    able = (
        "opp: {level: 1 W .. 120 W}\n        ocp: {level: 0.1 A .. 3.2 A, delay: 0 s .. 1 s}\n        ovp: "
    )
    edits += [(BENCH, "ovp: {level: 2 V .. 39 V", f"{able}{{level: 2 V .. 39 V")]
    for part, documents in made(tmp_path / "horn", *edits, given=True).items():
        steps = documents.procedure.steps
        assert steps[1].power_up is not None
        assert steps[-1].power_down is not None
        assert (steps[1].power_up.order, steps[1].power_up.gap) == ((first, then), 0.0), part
        assert steps[-1].power_down.order == (then, first)
        limits = documents.procedure.limits["drive"]
        wanted = ("auto", 2.0, 0.01) if part == "rise" else (None, None, None)
        assert (limits.opp, limits.ocp, limits.ocp_delay) == wanted
