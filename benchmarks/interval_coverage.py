"""Do the stated 95 % intervals hold the truth? Records of the demo's twins with known truth, evaluated.

Every case draws the device, the leads and the instruments anew inside what the documents allow, plays the
demo's procedure faster than real time, and evaluates the readings as a run would. The truth of each measure
comes from the fine true traces behind the readings. Prints, for each measure, in how many cases the interval
holds the truth, and how wide it is; the last line sums up. A count (restarts) has no interval: there the
fraction is that of right counts.

    python benchmarks/interval_coverage.py [--cases 300] [--first 1] [--workers 2]

Cases are numbered by their seeds, from --first on; take fresh ones to judge a change that was made on these.
"""

from __future__ import annotations

import argparse
import datetime
import sys
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import cache
from typing import Any

from railwright.examples import example

EXAMPLE = example() / "power-input.procedure.yaml"
TODAY = datetime.date(2026, 11, 25)
BAND = (0.93, 0.99)

# measure, input, step, each point of a sweep; one line of the table each
SUPPLY = [
    ("mean_voltage", "main", "steady", False),
    ("mean_voltage", "transducer", "steady", False),
    ("mean_current", "main", "steady", False),
    ("mean_current", "transducer", "steady", False),
    ("mean_power", "main", "steady", False),
    ("mean_power", "main", "line sweep", True),
    ("charge", "main", "first power", False),
    ("charge", "transducer", "first power", False),
    ("energy", "main", "first power", False),
    ("energy", "main", "brown-out", False),
    ("high_state_level", "main", "steady", False),
    ("high_state_level", "main", "brown-out", False),
    ("low_state_level", "main", "brown-out", False),
    ("turn_off_voltage", "main", "brown-out", False),
    ("turn_on_voltage", "main", "brown-out", False),
    ("start_up_time", "main", "first power", False),
    ("start_up_time", "transducer", "first power", False),
    ("peak_current", "main", "first power", False),
    ("peak_current", "main", "brown-out", False),
    ("peak_current", "transducer", "first power", False),
    ("peak_voltage", "main", "line sweep", False),
    ("restarts", "main", "line sweep", False),
    ("restarts", "main", "brown-out", False),
]
RECORDER = [
    ("peak_current", "main", "first power", False),
    ("peak_current", "transducer", "first power", False),
    ("peak_voltage", "main", "first power", False),
    ("mean_current", "main", "first power", False),
    ("charge", "main", "first power", False),
    ("energy", "main", "first power", False),
    ("start_up_time", "main", "first power", False),
    ("start_up_time", "transducer", "first power", False),
]


@dataclass(frozen=True)
class Case:
    """One measure of one case: its source, its truth and its interval; None where it was not measured."""

    key: tuple[str, str, str, str]
    truth: float | None
    value: float | None
    low: float | None
    high: float | None
    note: str
    one_sided: bool


def study(seed: int) -> list[Case]:
    """All measures of the case with this seed."""
    from benchmarks.each_source import each_source
    from benchmarks.virtual_record import record_case

    from railwright.evaluation.evaluate import evaluate

    documents, set_points, timeline = _example()
    record, truth = record_case(documents, set_points, seed, timeline)
    asked: Any = _Asking(documents, SUPPLY + RECORDER)
    own, external = each_source(asked, set_points, record, [_recording(documents, truth, seed)])
    true = evaluate(asked, set_points, truth)
    cases = []
    for number, ((measure, name, step, _), real) in enumerate(zip(asked.table, true.results, strict=True)):
        source = "readings" if number < len(SUPPLY) else "recorder"
        got = (own if source == "readings" else external)[number]
        measured, exact = got.measured, real.measured
        cases.append(
            Case(
                (source, measure, name, step),
                exact.value if exact else None,
                measured.value if measured else None,
                measured.low if measured else None,
                measured.high if measured else None,
                got.reason,
                bool(measured and measured.unseen),
            )
        )
    return cases


@cache
def _example() -> tuple[Any, Any, Any]:
    """The demo's documents, the set points that its check works out, and its timeline."""
    from railwright.documents.loader import load_documents
    from railwright.plan.timeline import build_timeline
    from railwright.settings.settle import settle

    documents = load_documents(EXAMPLE)
    timeline = build_timeline(documents.procedure, documents.device)
    return documents, settle(documents, TODAY).set_points, timeline


class _Asking:
    """The demo's documents with other requirements."""

    def __init__(self, documents: Any, table: list[tuple[str, str, str, bool]]) -> None:
        from railwright.documents.procedure import Requirement

        self.device, self.bench, self.table = documents.device, documents.bench, table
        wanted = tuple(
            Requirement(
                name=f"{measure} of {name} during {step}",
                measure=measure,
                of=name,
                during=step,
                each_point="worst" if each_point else None,
                at_most=_large(measure),
            )
            for measure, name, step, each_point in table
        )
        self.procedure = documents.procedure.model_copy(update={"requires": wanted})


def _large(measure: str) -> Any:
    from railwright.measures import MEASURES

    unit = MEASURES[measure].unit
    return 1000 if unit == "1" else f"1000 {unit}"


def _recording(documents: Any, truth: Any, seed: int) -> Any:
    """What the bench's recorder would have captured of the first power-up."""
    from railwright.traces import Record, Traces
    from railwright.twin.recorder import Trigger, capture

    name, recorder = next(iter(documents.bench.recorders.items()))
    true = {
        each: (traces.time, traces.columns["voltage"], traces.columns["current"])
        for each, traces in truth.traces.items()
    }
    # True traces of two supplies have time bases of their own; the recorder samples each where it is.
    columns = capture(name, recorder, true, Trigger("main", "voltage", 1.0, "rise", 0.02, 0.4), seed)
    assert columns is not None, "the demo's power-up triggers the recorder"
    time = columns["time_s"]
    return Record(
        name,
        {
            each: Traces(
                time, {"voltage": columns[f"{each}_voltage_V"], "current": columns[f"{each}_current_A"]}
            )
            for each in true
        },
    )


def main() -> int:
    """Print the table; exit 1 where a fraction is outside 93 % .. 99 %, or below 93 % on a one-sided row."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--cases", type=int, default=300)
    parser.add_argument("--first", type=int, default=1, help="seed of the first case")
    parser.add_argument("--workers", type=int, default=2)
    chosen = parser.parse_args()
    study(0)  # compiles once, before the workers start
    with ProcessPoolExecutor(chosen.workers) as pool:
        everything = []
        for done, cases in enumerate(
            pool.map(study, range(chosen.first, chosen.first + chosen.cases)), start=1
        ):
            everything += cases
            if done % 10 == 0:
                print(f"\r{done} of {chosen.cases} cases", end="", file=sys.stderr, flush=True)
    print(file=sys.stderr)
    return summarise(everything, chosen.cases)


def summarise(cases: list[Case], count: int) -> int:
    """Print one line a measure and the summary."""
    print(
        f"{'source':9} {'measure':17} {'of':11} {'during':12} {'measured':>8} {'holds':>7} {'half-width':>11}"
    )
    outside: list[str] = []
    one_sided = 0
    keys = list(dict.fromkeys(case.key for case in cases))
    for key in keys:
        rows = [case for case in cases if case.key == key]
        usable = [c for c in rows if c.value is not None and c.truth is not None]
        source, measure, name, step = key
        if not usable:
            print(f"{source:9} {measure:17} {name:11} {step:12} {0:8d}  {rows[0].note[:60]}")
            outside.append(f"{measure} of {name} ({source}): never measured")
            continue
        held = sum(c.low <= c.truth <= c.high for c in usable)  # type: ignore[operator]
        fraction = held / len(usable)
        width = sorted((c.high - c.low) / 2 for c in usable)[len(usable) // 2]  # type: ignore[operator]
        remark = "  (from below; above it: what can hide)" if any(c.one_sided for c in usable) else ""
        is_count = measure == "restarts"
        remark = "  (a count: right or wrong)" if is_count else remark
        place = f"{source:9} {measure:17} {name:11} {step:12}"
        print(f"{place} {len(usable):8d} {fraction:7.1%} {width:11.4g}{remark}")
        low, high = (BAND[0], 1.0) if remark else BAND
        one_sided += bool(remark)
        if not low <= fraction <= high:
            outside.append(f"{measure} of {name} during {step} ({source}): {fraction:.1%}")
    within = f"{len(keys) - one_sided} within 93 % .. 99 %, {one_sided} one-sided or counts above 93 %"
    verdict = within if not outside else "outside 93 % .. 99 %: " + "; ".join(outside)
    print(f"coverage of 95 % intervals over {count} cases, {len(keys)} measures: {verdict}")
    return 1 if outside else 0


if __name__ == "__main__":
    raise SystemExit(main())
