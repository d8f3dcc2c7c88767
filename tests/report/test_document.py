"""The PDF: what stands on its pages, that it does not vary, and that user text stays text."""

from __future__ import annotations

import datetime as dt
import re
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from tests.report.cases import REPORTED, RUN, evaluation
from tests.said import says

from railwright.assumptions import Assumption
from railwright.documents.loader import Documents
from railwright.documents.sources import Location
from railwright.evaluation.ending import Ending
from railwright.evaluation.outcome import Outcome
from railwright.report import ReportInput
from railwright.report.content import content
from railwright.report.document import compile_pdf
from railwright.traces import Record

MARKUP = '#eval("1+1") $x^2$ *bold* _under_ \\ @label <tag> `raw` [#lorem(9)] // gone /* gone */ "quoted"'
HOSTILE = MARKUP + " \x00\u202e"


def pages(pdf: bytes, tmp_path: Path) -> list[str]:
    """Text of each page, through a tool that knows nothing of typst (poppler)."""
    tool = shutil.which("pdftotext")
    assert tool, "pdftotext (poppler-utils) is needed by the tests; `make test` installs it"
    path = tmp_path / "report.pdf"
    path.write_bytes(pdf)
    done = subprocess.run([tool, "-layout", str(path), "-"], capture_output=True, text=True, check=True)
    return done.stdout.split("\f")[:-1]


def flat(texts: list[str]) -> str:
    """All text with its white space and break marks evened out."""
    return re.sub(r"\s+", " ", " ".join(texts).replace("\u200b", ""))


@pytest.fixture(autouse=True)
def same_drawing(monkeypatch: pytest.MonkeyPatch, written: Path) -> None:
    """The wiring drawing has its own tests; drawing it anew for every test here would only take time."""
    drawn = (written / "wiring.svg").read_text()
    monkeypatch.setattr("railwright.report.content.wiring_svg", lambda wiring: drawn)


@pytest.fixture(scope="module")
def quick(given: ReportInput) -> ReportInput:
    """The demo's report without figures."""
    return replace(given, measured=Record("supply readings", {}), rehearsal=None, external=())


def test_every_page_carries_the_report_s_id_and_its_number(
    written: Path, given: ReportInput, tmp_path: Path
) -> None:
    texts = pages((written / "report.pdf").read_bytes(), tmp_path)
    assert 6 <= len(texts) <= 12
    for number, text in enumerate(texts, start=1):
        assert re.search(
            rf"Report 20261125-110312-TG0042-[0-9a-f]{{8}}\s+Page {number} of {len(texts)}", text
        )


def test_every_page_names_the_item_and_the_dates(written: Path, tmp_path: Path) -> None:
    texts = pages((written / "report.pdf").read_bytes(), tmp_path)
    assert len(texts) >= 6
    for text in texts:
        assert re.search(r"Serial number TG-0042\s+tested 2026-11-25, issued 2026-11-25", text)


def test_readers_have_nothing_to_complain_of(written: Path) -> None:
    """A tagged PDF whose mark of tagging no reader takes for wrong."""
    tool = shutil.which("pdfinfo")
    assert tool, "pdfinfo (poppler-utils) is needed by the tests; `make test` installs it"
    done = subprocess.run([tool, str(written / "report.pdf")], capture_output=True, text=True, check=True)
    assert done.stderr == ""
    assert re.search(r"Tagged:\s+yes", done.stdout)
    assert b"pdfaid:part>2<" in (written / "report.pdf").read_bytes()


def test_no_page_but_the_last_is_left_half_empty(written: Path, tmp_path: Path) -> None:
    """The lowest ink above the foot of each page, in a picture of it (poppler)."""
    tool = shutil.which("pdftoppm")
    assert tool, "pdftoppm (poppler-utils) is needed by the tests; `make test` installs it"
    subprocess.run(
        [tool, "-r", "20", "-gray", str(written / "report.pdf"), str(tmp_path / "page")], check=True
    )
    pictures = sorted(tmp_path.glob("page-*.pgm"))
    assert 5 < len(pictures) <= 10
    for picture in pictures[:-1]:
        raw = picture.read_bytes().split(b"\n", 3)
        wide, high = map(int, raw[1].split())
        body = np.frombuffer(raw[3], np.uint8).reshape(high, wide)[: round(0.93 * high)]
        lowest = int(np.flatnonzero((body < 200).any(axis=1))[-1])
        assert lowest > 0.62 * high, picture.name


LISTED = (
    "Test report",
    "Quay-side test bench",
    "Pier 4, Harbour of Exampleton",
    "Harbour Authority of Exampleton",
    "Tide-gauge station logger",
    "TG-0042",
    "M. Okonkwo",
    "2026-11-25 11:03:12 UTC to 2026-11-25 11:03:26 UTC",
    "2026-11-25 11:20:00 UTC",
    "23 °C ± 3 °C",
    "QB-26-031",
    "2027-03-02",
    "railwright 0.1.0, Python 3.11",
    "9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08",
    "Guarded acceptance and guarded rejection (JCGM 106:2012)",
    "42.80 mA",
    "41.90 to 43.70 mA",
    "at most 60 mA",
    "inconclusive",
    "a recording with at least 10 000 samples/s",
    "Steps began up to 4 ms later than planned.",
    "right.1 still stood at 1.2 V, 2 s after switching off.",
    "Overridden:",
    "trip after 40 ms",
    "36 V withstood, less 0.1 V accuracy",
    "Assumed in the rehearsal",
    "left.1: sink current is unknown; taken as none",
    "not an emergency stop",
    "relates only to the items tested",
    "may not be reproduced except in full",
    "Signature and date",
    "23 °C ± 3 °C, as the bench document states",
    "Neither the documents nor the run say: who authorises the report; how the customer can be reached; the "
    "item's condition and date of receipt; how the item was sampled; work by external providers.",
    "Appendix: uncertainty budgets",
    "Gain error of the reading, 0.1 % of value",
    "End of report",
)


def test_what_iso_iec_17025_lists_is_there(written: Path, tmp_path: Path) -> None:
    """ISO/IEC 17025:2017, 7.8.2 to 7.8.6 (from memory)."""
    text = flat(pages((written / "report.pdf").read_bytes(), tmp_path))
    assert [expected for expected in LISTED if expected not in text] == []


def test_what_is_unknown_is_said_to_be_unknown(quick: ReportInput) -> None:
    known = RUN | {"authorised_by": "A. Example"}
    assert "who authorises the report" not in content(replace(quick, run=known))["unstated"]
    bare = content(replace(quick, run=RUN | {"operator": None, "customer": "", "unit": None, "start": None}))
    assert {"the operator", "the customer", "the item's serial number"} <= set(bare["unstated"])
    assert bare["serial"] == "not stated"
    assert bare["dates"] == "tested not stated, issued 2026-11-25"


def test_the_same_input_gives_the_same_bytes(quick: ReportInput) -> None:
    assert compile_pdf(content(quick), REPORTED) == compile_pdf(content(quick), REPORTED)


def test_another_date_is_another_report(quick: ReportInput) -> None:
    later = replace(quick, reported=REPORTED + dt.timedelta(seconds=1))
    assert content(later)["id"] != content(quick)["id"]


def test_power_and_current_protection_stand_among_the_settings_where_they_are_used(
    quick: ReportInput, tmp_path: Path
) -> None:
    main = quick.set_points["main"]
    points = replace(main.outputs[0], opp=30.0, ocp=0.8, ocp_delay=0.06)
    feed = replace(main, outputs=(points,), fixture="fused guard")
    used = replace(quick, set_points={**quick.set_points, "main": feed})
    text = flat(pages(compile_pdf(content(used), REPORTED), tmp_path))
    assert "at 30 W, at 0.8 A" in text
    assert "after 60 ms" in text
    assert "silicone pair and fused guard" in text
    without = flat(pages(compile_pdf(content(quick), REPORTED), tmp_path))
    assert "Over-power" not in without


def hostile(quick: ReportInput, documents: Documents, text: str) -> ReportInput:
    device = documents.device.model_copy(update={"device": text})
    procedure = documents.procedure.model_copy(update={"procedure": text})
    run: dict[str, Any] = RUN | {
        "unit": text, "operator": text, "customer": text, "deviations": [text], "ended": text, "run_id": text,
        "authorised_by": text, "function": text, "document_hashes": {text: "0" * 64},
        "laboratory": {"name": text, "address": text},
        "instruments": [{"name": text, "serial": text, "model": text, "identification": text}],
    }  # fmt: skip
    results = tuple(replace(r, requirement=text, reason=text, source=text) for r in quick.evaluation.results)
    return replace(
        quick,
        documents=Documents(device, documents.bench, procedure),
        run=run,
        findings=tuple(
            replace(f, about=text, why=text, remedy=text, overridden=text) for f in quick.findings
        ),
        reasons=tuple(replace(reason, why=text) for reason in quick.reasons),
        evaluations=(replace(quick.evaluation, results=results, notes=(text,)),),
        assumptions=(Assumption(text, text),),
    )


def test_user_text_is_never_markup(quick: ReportInput, documents: Documents, tmp_path: Path) -> None:
    pdf = compile_pdf(content(hostile(quick, documents, HOSTILE)), REPORTED)
    text = flat(pages(pdf, tmp_path))
    assert MARKUP in text
    assert "Lorem ipsum" not in text


def test_endless_words_stay_on_the_page(quick: ReportInput, documents: Documents, tmp_path: Path) -> None:
    tool = shutil.which("pdftotext")
    assert tool, "pdftotext (poppler-utils) is needed by the tests; `make test` installs it"
    pdf = compile_pdf(content(hostile(quick, documents, "W" * 400)), REPORTED)
    (tmp_path / "long.pdf").write_bytes(pdf)
    done = subprocess.run(
        [tool, "-bbox", str(tmp_path / "long.pdf"), "-"], capture_output=True, text=True, check=True
    )
    words = re.findall(r'<word xMin="[\d.]+" yMin="([\d.]+)" xMax="([\d.]+)"', done.stdout)
    right = [float(x) for y, x in words if float(y) > 60]  # the running head above is clipped to its line
    assert len(right) > 500
    assert max(right) < 595.3 - 40


def test_other_scripts_do_not_stop_a_report(quick: ReportInput, documents: Documents, tmp_path: Path) -> None:
    pdf = compile_pdf(content(hostile(quick, documents, "検潮所 محطة 🌊")), REPORTED)
    assert len(pages(pdf, tmp_path)) >= 5


def test_a_simulated_run_says_so_on_every_page(quick: ReportInput, tmp_path: Path) -> None:
    texts = pages(compile_pdf(content(replace(quick, run=RUN | {"simulated": True})), REPORTED), tmp_path)
    assert all("Simulated supplies" in text for text in texts)
    assert "it says nothing of a real item" in flat(texts)


def test_a_run_that_ended_early_and_an_overdue_calibration_are_deviations(quick: ReportInput) -> None:
    run = RUN | {"ended": "left.1 tripped on OVP", "start": "2027-03-03T08:00:00+00:00"}
    run["ending"] = Ending(False, "left.1 tripped on OVP", 3.2, True, True)
    data = content(replace(quick, run=run))
    assert "The run ended early: left.1 tripped on OVP." in data["deviations"]
    assert "left: calibration was due on 2027-03-02." in data["deviations"]
    assert data["statement"].endswith("The run ended early: left.1 tripped on OVP.")
    assert [i["state"] for i in data["instruments"]] == ["overdue", "valid"]


def test_a_run_that_a_required_trip_ended_is_no_early_end(quick: ReportInput) -> None:
    trip = "main tripped: OCP"
    run = RUN | {"ended": trip, "ending": Ending(False, trip, 3.2, True, True, expected_trip=True)}
    *judged, last = (replace(each, outcome=Outcome.PASS) for each in quick.evaluation.results)
    left = replace(last, measured=None, outcome=Outcome.NOT_JUDGED)
    data = content(replace(quick, run=run, evaluations=(replace(quick.evaluation, results=(*judged, left)),)))
    assert data["outcome"]["word"] == "pass"
    assert says(data["statement"], "3.2 s", "main", "1", str(len(judged) + 1))
    assert data["alarms"] == []
    assert not [line for line in data["deviations"] if "early" in line]
    assert {each["word"]: each["count"] for each in data["counts"]}["not judged"] == 1


def test_places_in_documents_are_shown_without_their_folder(quick: ReportInput) -> None:
    where = Location("/bench/of/someone/quay.bench.yaml", 17, 7)
    data = content(replace(quick, findings=tuple(replace(f, where=where) for f in quick.findings)))
    assert {finding["where"] for finding in data["findings"]} == {"quay.bench.yaml:17:7"}


def test_an_assumption_that_a_finding_states_is_not_repeated(quick: ReportInput) -> None:
    finding = replace(quick.findings[0], why="sink current is unknown; taken as none")
    assert content(quick)["assumptions"] == ["left.1: sink current is unknown; taken as none"]
    assert content(replace(quick, findings=(finding,)))["assumptions"] == []


def test_without_a_requirement_no_conformity_is_stated(quick: ReportInput, tmp_path: Path) -> None:
    none = replace(quick.evaluation, results=())
    data = content(replace(quick, evaluations=(none,)))
    assert "makes no statement of conformity" in data["statement"]
    assert "The procedure states no requirement." in flat(pages(compile_pdf(data, REPORTED), tmp_path))


def test_what_a_later_evaluation_decided_is_told(given: ReportInput, documents: Documents) -> None:
    data = content(replace(given, measured=Record("supply readings", {}), rehearsal=None))
    (change,) = data["evaluations"]
    assert (change["before"]["word"], change["after"]["word"]) == ("inconclusive", "pass")
    assert "would decide it" in change["before_reason"]
    single = content(replace(given, measured=Record("", {}), evaluations=(evaluation(documents, False),)))
    assert single["evaluations"] == []


def test_steps_are_listed_by_what_the_rest_of_the_report_calls_them(quick: ReportInput) -> None:
    """A step without a name also says what it does."""
    procedure = quick.documents.procedure
    steps = tuple(step.model_copy(update={"name": None}) for step in procedure.steps[:-1])
    unnamed = procedure.model_copy(update={"steps": (*steps, procedure.steps[-1])})
    given = replace(quick, documents=replace(quick.documents, procedure=unnamed))
    (listed,) = (row[1] for row in content(given)["method"] if row[0] == "Steps")
    told = listed.replace("\u200b", "").split(", ")
    assert len(told) == len(unnamed.steps)
    for index, (step, each) in enumerate(zip(unnamed.steps, told, strict=True)):
        assert says(each, step.called(index))
        assert step.name or says(each, step.kind.replace("_", " "))
