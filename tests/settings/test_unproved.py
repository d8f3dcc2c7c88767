"""A dialect that nobody has proved at a real supply is a stop; simulated ones need no proof."""

from __future__ import annotations

import datetime as dt
import os
from pathlib import Path

import pytest
from tests.bench import BENCH, PROCEDURE, Edit, copy_demo
from tests.dialects.test_proofs import proofs_of
from tests.said import says

from railwright.dialects.dialect import load_dialect
from railwright.dialects.files import USER_FOLDER
from railwright.dialects.proofs import ALWAYS, InstrumentModel, Proofs
from railwright.documents.address import is_of_this_computer
from railwright.documents.loader import load_documents
from railwright.documents.proof_files import ProofFileError, keep_proofs
from railwright.job import Blocked, Job
from railwright.settings.check import check
from railwright.settings.findings import Finding, Severity
from railwright.settings.hookup import hooked_up

TODAY = dt.date(2026, 11, 25)
REAL: tuple[Edit, ...] = (
    (BENCH, "TCPIP::127.0.0.1::5025::SOCKET", "TCPIP::192.0.2.10::5025::SOCKET"),
    (BENCH, "TCPIP::127.0.0.1::5026::SOCKET", "USB::0x1234::0x5678::Q-0232::INSTR"),
)
LEFT, RIGHT = (
    InstrumentModel("Invented Instruments", "QS-362", "1.4"),
    InstrumentModel("Others", "QS-321", "2.0"),
)


def proofs(instrument: InstrumentModel, dialect: str, *channels: int) -> list[object]:
    from dataclasses import replace

    found = (each for channel in channels for each in proofs_of(load_dialect(dialect), channel))
    return [replace(each, instrument=instrument) for each in found]


ALL = Proofs((*proofs(LEFT, "channel-list", 1, 2), *proofs(RIGHT, "selected-output", 1)))  # type: ignore[arg-type]


def unproved(folder: Path, known: Proofs | None, *edits: Edit) -> list[Finding]:
    hooked = hooked_up(load_documents(copy_demo(folder, *edits)))
    found = check(hooked, TODAY, rehearsed=False, proofs=known).settings.findings
    return [each for each in found if each.rule in ("dialect-unproved", "override-no-effect")]


def test_a_real_address_needs_proofs(tmp_path: Path) -> None:
    left, right = unproved(tmp_path, Proofs(), *REAL)
    assert [each.about for each in (left, right)] == ["left", "right"]
    assert all(each.severity is Severity.STOP and each.blocks for each in (left, right))
    assert says(left.why, "channel-list", "QS-362", "left.1", *ALWAYS, "OVP", "current limit")
    # Neither protection is used, nor is the other output.
    assert "OCP" not in left.why
    assert "left.2" not in left.why
    assert left.where is not None
    text = (tmp_path / BENCH).read_text("utf-8").splitlines()
    assert text[left.where.line - 1].strip() == "dialect: channel-list"


def test_an_address_of_this_computer_and_simulated_supplies_need_none(tmp_path: Path) -> None:
    assert unproved(tmp_path / "a", Proofs()) == []
    assert unproved(tmp_path / "b", None, *REAL) == []


@pytest.mark.parametrize("form", ["./{}", "{folder}/{}", "{folder}/../{folder.name}/{}"])
def test_a_simulated_supply_behind_a_link_to_a_pseudo_terminal_needs_none(
    tmp_path: Path, form: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """`railwright twin` puts the link where the bench says; another link leads to a wire."""
    monkeypatch.chdir(tmp_path)
    near, far = os.openpty()
    try:
        (tmp_path / "left.tty").symlink_to(os.ttyname(far))
        (tmp_path / "right.tty").symlink_to("left.tty")
        (tmp_path / "wire").symlink_to("/dev/ttyS0")
        # An adapter that is not plugged in, and a link that a simulated supply has left.
        (tmp_path / "unplugged").symlink_to("/dev/serial/by-id/usb-adapter-none")
        (tmp_path / "stale.tty").symlink_to("/dev/pts/99999")
        leads = {"left.tty": True, "right.tty": True, "none.tty": True, "stale.tty": True}
        for name, here in {**leads, "wire": False, "unplugged": False}.items():
            address = f"ASRL{form.format(name, folder=tmp_path)}::INSTR"
            assert is_of_this_computer(address) is here, address
        edits = [
            (BENCH, old, f"ASRL./{new}::INSTR")
            for (_, old, _), new in zip(REAL, ("left.tty", "wire"), strict=True)
        ]
        (found,) = unproved(tmp_path / "station", Proofs(), *edits)
        assert found.about == "right"
    finally:
        os.close(near)
        os.close(far)


@pytest.mark.parametrize(
    ("address", "here"),
    [
        ("TCPIP::127.0.0.1::5025::SOCKET", True),
        ("tcpip0::127.1.2.3::hislip0::INSTR", True),
        ("TCPIP::localhost::5025::SOCKET", True),
        ("TCPIP::[::1]::5025::SOCKET", True),
        ("TCPIP::192.0.2.10::5025::SOCKET", False),
        ("TCPIP::127.0.0.1.example::5025::SOCKET", False),
        ("TCPIP::1270.0.0.1::5025::SOCKET", False),
        ("USB::0x1234::0x5678::SERIAL::INSTR", False),
        ("ASRL1::INSTR", False),
        ("ASRL/dev/ttyUSB0::INSTR", False),
        ("ASRL/dev/serial/by-id/usb-adapter-none::INSTR", False),
        ("ASRL/dev/pts/3::INSTR", True),
    ],
)
def test_what_is_an_address_of_this_computer(address: str, here: bool) -> None:
    assert is_of_this_computer(address) is here


def test_check_says_the_same_whether_the_simulated_supply_runs(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    edits = [(BENCH, old, f"ASRL./{number}.tty::INSTR") for number, (_, old, _) in enumerate(REAL)]
    assert unproved(tmp_path / "before", Proofs(), *edits) == []
    near, far = os.openpty()
    try:
        for number in range(2):
            (tmp_path / f"{number}.tty").symlink_to(os.ttyname(far))
        assert unproved(tmp_path / "while", Proofs(), *edits) == []
    finally:
        os.close(near)
        os.close(far)
    assert unproved(tmp_path / "after", Proofs(), *edits) == []


def test_what_is_proved_is_no_finding(tmp_path: Path) -> None:
    assert unproved(tmp_path, ALL, *REAL) == []


def test_another_model_proves_nothing(tmp_path: Path) -> None:
    """With a model that the bench gives; where it gives none, the run decides."""
    named = (BENCH, "model: QS-362", "model: QS-363")
    (left,) = unproved(tmp_path / "a", ALL, *REAL, named)
    assert says(left.why, "QS-363")
    left_out = (BENCH, "    model: QS-362\n", "")
    assert unproved(tmp_path / "b", ALL, *REAL, left_out) == []


def test_one_thing_that_is_missing_is_named_alone(tmp_path: Path) -> None:
    known = Proofs(tuple(p for p in ALL.known if (p.instrument, p.provoked) != (RIGHT, "CC")))
    (right,) = unproved(tmp_path, known, *REAL)
    assert right.about == "right"
    assert right.why.endswith("right.1: CC")


def test_an_override_needs_its_reason_and_is_shown(tmp_path: Path) -> None:
    override = (
        "\noverrides:\n  - {finding: dialect-unproved, about: left, because: tried by hand yesterday}\n"
    )
    text = copy_demo(tmp_path / "as it is").read_text("utf-8")
    last = text.rstrip().splitlines()[-1]
    found = unproved(tmp_path / "a", Proofs(), *REAL, (PROCEDURE, last, last + override))
    assert [(each.about, each.overridden, each.blocks) for each in found] == [
        ("left", "tried by hand yesterday", False),
        ("right", None, True),
    ]
    # It may have its effect in the run, which knows the instrument: no note that it accepts nothing.
    assert unproved(tmp_path / "b", ALL, *REAL, (PROCEDURE, last, last + override)) == []


def test_an_output_can_be_accepted_by_itself(tmp_path: Path) -> None:
    """What the run's stop names is `left.1`: an override may name it so."""
    override = "\noverrides:\n  - {finding: dialect-unproved, about: left.1, because: tried by hand}\n"
    both = (PROCEDURE, "from: right.1", "from: left.2")
    text = copy_demo(tmp_path / "as it is").read_text("utf-8")
    last = text.rstrip().splitlines()[-1]
    found = unproved(tmp_path / "a", Proofs(), *REAL, both, (PROCEDURE, last, last + override))
    assert {(each.about, each.overridden) for each in found} == {("left.1", "tried by hand"), ("left", None)}
    (left,) = (each for each in found if each.about == "left")
    assert "left.2" in left.why
    assert "left.1" not in left.why
    # One that is proved, or is not used, is no finding, and the override no matter.
    assert unproved(tmp_path / "b", ALL, *REAL, (PROCEDURE, last, last + override)) == []


def test_the_front_door_reads_what_is_kept_and_needs_nothing_for_twins(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(USER_FOLDER, str(tmp_path / "user"))
    job = Job.open(copy_demo(tmp_path / "documents", *REAL))
    rules = {finding.rule for finding in job.check(static=True).findings}
    assert "dialect-unproved" in rules
    assert "dialect-unproved" not in {f.rule for f in job.check(static=True, simulated=True).findings}
    with pytest.raises(Blocked, match="dialect-unproved"):
        job.check(static=True).run(unit="U-1", operator="A. Keeper", folder=tmp_path / "run")
    assert not (tmp_path / "run").exists()
    keep_proofs(ALL.known)
    assert "dialect-unproved" not in {finding.rule for finding in job.check(static=True).findings}


def test_what_is_kept_and_cannot_be_read_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Left out, it would make what it proved unproved, and nobody would know why."""
    monkeypatch.setenv(USER_FOLDER, str(tmp_path / "user"))
    (tmp_path / "user" / "proved").mkdir(parents=True)
    (tmp_path / "user" / "proved" / "broken.json").write_text("{", "utf-8")
    job = Job.open(copy_demo(tmp_path / "documents", *REAL))
    with pytest.raises(ProofFileError, match=r"broken\.json:1:1: expected"):
        job.check(static=True)
    assert job.check(static=True, simulated=True).findings
