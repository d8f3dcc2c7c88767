"""Rules about shapes: their own current limits, interruptions, waiting, and where a standard's figures come
from.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Mapping

from railwright.documents.bench import Output
from railwright.documents.output_name import OutputName
from railwright.documents.shape import InputWaveform
from railwright.documents.standard_tests import choice_of, figures_of, pieces_in_step
from railwright.grouping import grouped
from railwright.plan.timeline import Action, StandardTurn
from railwright.quantities import Statement, joined, named, state
from railwright.settings.context import BoundDocuments, Context, FedInput
from railwright.settings.findings import Ranking, Severity
from railwright.settings.rule import Hit, Outcome, Path, Unknown, of_every, rule, with_seen
from railwright.waveforms.shapes import Off, flat
from railwright.waveforms.standards import TESTS, open_choices
from railwright.waveforms.standards.figures import StandardFigures
from railwright.waveforms.standards.kinds import Choice, NotPlayed, Test

SYSTEM_APART = 0.2
"""Part by which an input's nominal voltage may differ from that of the system that a standard's voltages are
meant for (common practice, no source): 12 V to 14 V, 24 V to 28 V are the same system.
"""

AT_ONCE = 1e-9
"""Sums of times that stand for the same instant differ by less [s]."""


def waveforms(context: BoundDocuments) -> Iterator[tuple[int, Path, FedInput, InputWaveform]]:
    """Every waveform of a shape: number of its step, where it is written, and of which input it is."""
    return (
        (index, shape_path(context, index, name), context.sources[name], waveform)
        for index, step in enumerate(context.procedure.steps)
        if step.shape is not None
        for name, waveform in step.shape.waveforms.items()
        if name in context.sources
    )


def shape_path(context: BoundDocuments, step: int, name: str) -> Path:
    """Where a shape, or its part for one input, is written."""
    shape = context.procedure.steps[step].shape
    return ("procedure", "steps", step, "shape", *(shape.at(name) if shape is not None else ()))


@rule("shape-limit-above", Severity.STOP)
def shape_limit_above(context: Context) -> Outcome:
    """A shape sets a higher current limit than the one that was settled, and judged, for the input."""
    limits = {source.name: feed.limit for source, feed in context.having("current_limit")}
    for change in context.timeline.limits:
        limit = limits.get(change.input, math.inf)
        if change.current is not None and change.current > limit * (1 + 1e-9):
            yield Hit(
                change.input,
                ("procedure", *change.path),
                state(
                    "{current} is more than the {limit} of 'limits', which was judged by what device and "
                    "lead bear",
                    current=(change.current, "A"),
                    limit=(limit, "A"),
                ),
                "lower it, or raise the one under 'limits'",
            )


@rule("interruption-low-impedance", Severity.CAUTION, on_sheet=False)
@of_every(with_seen(waveforms))
def interruption_low_impedance(
    context: BoundDocuments, index: int, here: Path, source: FedInput, waveform: InputWaveform
) -> Outcome:
    """A low-impedance interruption is asked of an output that takes in no current."""
    name = context.timeline.spans[index].name
    for output, figures in source.outputs.items() if waveform.impedance == "low" else ():
        if figures.sink is None:
            yield Unknown(
                output,
                (*source.at_output, "sink"),
                "current that the output can take in",
                f"the low-impedance interruption of '{name}'",
            )
        elif figures.sink == 0.0:
            yield Hit(
                source.name,
                (*here, "impedance"),
                state(
                    "'{step}' asks for 0 V at low impedance; {output} takes in no current, so that only "
                    "the load and its bleeder discharge {held}",
                    step=name,
                    output=output,
                    held=state("the {capacitance} at the input", capacitance=(source.holding, "F"))
                    if source.holding
                    else "what is left at the input",
                ),
                "take an output that sinks current, or short the input with a switch beside it",
            )


@rule("interruption-high-impedance", Severity.CAUTION, on_sheet=False)
@of_every(with_seen(waveforms))
def interruption_high_impedance(
    context: BoundDocuments, index: int, here: Path, source: FedInput, waveform: InputWaveform
) -> Outcome:
    """An interruption by switching off leaves the output's own capacitor and bleeder across the input."""
    pieces = flat(pieces_in_step(context.procedure, context.device, index, source.name))
    if any(isinstance(piece, Off) for piece in pieces):
        yield Hit(
            source.name,
            (*here, next((key for key in ("impedance", "standard") if getattr(waveform, key)), "segments")),
            state(
                "'{step}' switches the output off, which does not disconnect it: {stays} and a reverse "
                "diode stay across the input",
                step=context.timeline.spans[index].name,
                stays=joined(", ", itertools.starmap(_stays_across, source.outputs.items())),
            ),
            "for a real disconnection open a switch between output and input",
        )


def _stays_across(name: OutputName, output: Output) -> Statement:
    """What an output that is switched off leaves across its terminals."""
    bleeder = (
        state("{bleeder} of bleeder", bleeder=(output.bleeder, "ohm"))
        if output.bleeder is not None
        else "an unknown bleeder"
    )
    if output.takes_in_off:
        sunk = named("taken", output.sink, "A") if output.sink is not None else "a current that is not given"
        bleeder = state("{bleeder}, {sunk} that it takes in while off", bleeder=bleeder, sunk=sunk)
    return state(
        "{capacitor} and {bleeder} ({output})",
        capacitor=state("{capacitance} of output capacitor", capacitance=(output.output_capacitance, "F"))
        if output.output_capacitance is not None
        else "an unknown output capacitor",
        bleeder=bleeder,
        output=name,
    )


@rule("edge-at-end", Severity.NOTE)
@of_every(with_seen(waveforms))
def edge_at_end(
    context: BoundDocuments, index: int, here: Path, source: FedInput, waveform: InputWaveform
) -> Outcome:
    """A shape's last edge lies at the very end of its step, and something is required during that."""
    span = context.timeline.spans[index]
    asked = [
        each.name for each in context.procedure.requires if (each.of, each.during) == (source.name, span.name)
    ]
    last = _last_edge(context, index, source.name) if waveform.standard is None and asked else None
    if last is not None and last.time >= span.end - AT_ONCE:
        yield Hit(
            source.name,
            ("procedure", *last.path),
            state(
                "'{step}' ends with an edge to {voltage} at its very end: what comes of it lies in the "
                "next step, and '{requirement}' does not look there",
                step=span.name,
                voltage=(last.voltage, "V"),
                requirement=asked[0],
            ),
            "add a 'hold' behind it, as long as its outcome matters",
        )


def _last_edge(context: BoundDocuments, index: int, name: str) -> Action | None:
    """The last action of a shape that changes what an input is asked for; None: none does."""
    level, off, last = 0.0, False, None
    for action in (each for each in context.timeline.actions if each.input == name):
        inside = action.step == index
        if inside and action.path[-1] == "at_end":
            break
        if inside and action.kind == "line" and (action.voltage != level or off):
            last = action
        level, off = (action.voltage, False) if action.kind == "line" else (level, True)
    return last


@rule("trigger-assumed", Severity.NOTE)
def trigger_assumed(context: Context) -> Outcome:
    """A shape waits for a trigger or a key, which the rehearsal takes to come at once."""
    for wait in context.timeline.waits[:1]:
        step = context.procedure.steps[wait.step]
        yield Hit(
            ", ".join(step.shape.waveforms) if step.shape else "",
            ("procedure", *wait.path),
            state(
                "'{step}' waits for a {source}, at most {time_out}; rehearsed as if it came at once",
                step=step.called(wait.step),
                source=wait.source,
                time_out=(wait.time_out, "s"),
            ),
            "consider what a longer wait does: what is withstood for a time only, and what heats up",
        )


@rule("repeated-at-most", Severity.NOTE)
def repeated_at_most(context: Context) -> Outcome:
    """A shape is repeated until something happens; the check takes the most turns that may be played."""
    for each in context.timeline.repeated:
        span = context.timeline.spans[each.step]
        yield Hit(
            ", ".join(span.inputs),
            ("procedure", *each.path),
            state(
                "'{step}' is repeated until {ended_by}: {turns} times at most, {length} in all; checked as "
                "if that did not come before",
                step=span.name,
                turns=len(each.ends),
                length=(each.ends[-1] - each.begin, "s"),
                ended_by=each.until.words,
            ),
            "give 'at_most' no more than device and bench bear",
        )


@rule("held-at-most", Severity.NOTE)
def held_at_most(context: Context) -> Outcome:
    """A hold lasts until something happens; the check takes the longest that it may last."""
    for each in context.timeline.held:
        yield Hit(
            each.of,
            ("procedure", *each.path),
            state(
                "'{step}' lasts until {ended_by}, {length} at most; checked as if that did not come before",
                step=context.timeline.spans[each.step].name,
                length=(each.end - each.begin, "s"),
                ended_by=each.until.words,
            ),
            "give 'at_most' no more than device and bench bear",
        )


@rule("recording-recognised", Severity.NOTE)
@of_every(waveforms)
def recording_recognised(index: int, here: Path, source: FedInput, waveform: InputWaveform) -> Outcome:
    """A recording is played; its separators, columns and units were recognised, or taken for granted."""
    if waveform.recognised:
        yield Hit(
            source.name,
            (*here, "recording"),
            state(
                "'{recording}': {recognised}",
                recording=waveform.recording or "",
                recognised="; ".join(waveform.recognised),
            ),
            "check that this is intended; 'column', 'time', 'unit' and the like change it",
        )


def _standards(context: Context) -> Iterator[tuple[str, Path, FedInput, Test, StandardFigures, Choice]]:
    """Every waveform of a standard's test: name of its step, where the test is written, of which input, the
    test, its figures, and what the procedure chooses of it.
    """
    for index, here, source, waveform in waveforms(context):
        if (test := TESTS.get(waveform.standard or "")) is not None:
            yield (
                context.procedure.steps[index].called(index),
                (*here, "standard"),
                source,
                test,
                figures_of(context.procedure, test),
                choice_of(waveform, context.device, source.name),
            )


@rule("standard-from-memory", Severity.NOTE)
def standard_from_memory(context: Context) -> Outcome:
    """A standard's figures are played that were written down from memory."""
    of_tests = grouped((each[3].name, each) for each in _standards(context))
    for (_, here, source, test, figures, choice), *_ in of_tests.values():
        names = [name for name in test.cites if figures.figures[name].from_memory]
        if names and test.not_played is None:
            yield Hit(
                source.name,
                here,
                state(
                    "{test} is played by figures of {told}",
                    test=test.name,
                    told="; ".join([figures.cited(*names), *map(str, open_choices(figures, test, choice))]),
                ),
                "compare them with your copy, and put corrected ones in a file under 'standards'",
            )


@rule("standard-leaves-open", Severity.NOTE)
@of_every(_standards)
def standard_leaves_open(
    step: str, here: Path, source: FedInput, test: Test, figures: StandardFigures, choice: Choice
) -> Outcome:
    """A level or duration is played that stands in no table of the standard, which leaves others open (x)."""
    if opened := open_choices(figures, test, choice):
        yield Hit(
            source.name,
            (*here[:-1], opened[0].key),
            state(
                "'{step}' plays {test} with {opened}: no value of {cited}, which leaves x to the product",
                step=step,
                test=test.name,
                opened=", ".join(map(str, opened)),
                cited=figures.cited(*test.cites),
            ),
            "say with the result why it was chosen, or take one that the standard lists",
        )


@rule(
    "standard-repeated-less",
    Severity.CAUTION,
    on_sheet=False,
    worst=Ranking("count", over="least", lowest=True),
)
def standard_repeated_less(context: Context) -> Outcome:
    """A standard's test is played less often, or sooner after the one before, than the standard asks."""
    turns = grouped(((turn.step, turn.input), turn) for turn in context.timeline.tests)
    alike = grouped(
        (
            (
                source.name,
                test.name,
                pieces_in_step(context.procedure, context.device, int(here[2]), source.name),
            ),
            (step, here, source, test, figures),
        )
        for step, here, source, test, figures, _ in _standards(context)
    )
    for tests in alike.values():
        step, here, source, test, figures = tests[0]
        if test.repetitions is None or test.not_played is not None:
            continue
        least = int(figures.texts(test.repetitions)[0])
        count = sum(len(turns.get((int(place[2]), source.name), ())) for _, place, *_ in tests)
        if count < least:
            yield Hit(
                source.name,
                (*here[:4], "repeat"),
                state(
                    "'{step}' plays {test}: {count} of the {least} repetitions that the standard asks for "
                    "({cited})",
                    step=step,
                    test=test.name,
                    count=count,
                    least=least,
                    cited=figures.cited(test.repetitions),
                ),
                "repeat it as often, or state the deviation with the result",
            )
    yield from _too_soon(context, turns)


def _too_soon(context: Context, turns: Mapping[tuple[int, str], list[StandardTurn]]) -> Outcome:
    """Tests of one standard on one input that follow each other sooner than it asks: for each step the
    shortest time.
    """
    before: dict[tuple[str, str], float] = {}
    for step, here, source, test, figures, _ in _standards(context):
        own = turns.get((int(here[2]), source.name), [])
        if test.interval is None or not own:
            continue
        least = figures.value(test.interval, "s")
        ends = [before.get((source.name, test.standard), -math.inf), *(turn.end for turn in own)]
        gaps = [turn.start - end for turn, end in zip(own, ends, strict=False)]
        before[source.name, test.standard] = ends[-1]
        if min(gaps) < least - AT_ONCE:
            yield Hit(
                source.name,
                (*here[:4], "pause_between") if min(gaps) in gaps[1:] else here,
                state(
                    "'{step}' plays {test} {gap} after the one before; the standard asks for {least} at "
                    "least ({cited})",
                    step=step,
                    test=test.name,
                    gap=(min(gaps), "s"),
                    least=(least, "s"),
                    cited=figures.cited(test.interval),
                ),
                "lengthen 'pause_between', or the 'hold' before it, or state the deviation with the result",
            )


@rule("standard-other-system", Severity.STOP)
@of_every(_standards)
def standard_other_system(
    step: str, here: Path, source: FedInput, test: Test, figures: StandardFigures, choice: Choice
) -> Outcome:
    """A standard's test has the voltages of a system that the input does not belong to."""
    if test.system is None:
        return
    nominal, system = abs(choice.nominal), test.system(figures, choice)
    if abs(nominal - system) > SYSTEM_APART * system:
        yield Hit(
            source.name,
            here,
            state(
                "'{step}' plays {test} with the voltages of a {system} system on an input of {nominal}",
                step=step,
                test=test.name,
                system=(system, "V"),
                nominal=(nominal, "V"),
            ),
            "take the test of a standard for this voltage, or play levels of your own as 'segments'",
        )


@rule("standard-not-played", Severity.STOP)
@of_every(_standards)
def standard_not_played(
    step: str, here: Path, source: FedInput, test: Test, figures: StandardFigures, choice: Choice
) -> Outcome:
    """A standard's test is asked for that an ordinary supply cannot play; what it would put on the input is
    compared with what that withstands, and nothing is played.
    """
    if test.not_played is not None:
        asked = test.not_played(figures, choice)
        yield Hit(
            source.name,
            here,
            state(
                "'{step}': {test} is not played: an ordinary supply lacks {lacks}. {compared} ({cited})",
                step=step,
                test=test.name,
                lacks=asked.lacks,
                compared=_compared(source, asked),
                cited=figures.cited(*test.cites),
            ),
            "remove the step, and have this test done with a generator that is made for it",
        )


def _compared(source: FedInput, asked: NotPlayed) -> Statement:
    """The voltage of a test beside what the device document says that the input withstands."""
    reverse, most = asked.voltage < 0.0, abs(asked.voltage)
    known = source.input.withstood_reversed if reverse else source.input.withstood
    asked_of = state(
        "{way} {voltage} for {lasts}",
        way="reversed" if reverse else "at most",
        voltage=(most, "V"),
        lasts=(asked.duration, "s"),
    )
    if not known:
        return state(
            "It puts {asked} on '{input}'; the device document does not say what that withstands",
            asked=asked_of,
            input=source.name,
        )
    if any(voltage >= most and lasts >= asked.duration for voltage, lasts in known):
        return state(
            "'{input}' withstands its {asked} by the device document, which shows nothing of how it works "
            "meanwhile",
            input=source.name,
            asked=asked_of,
        )
    return state(
        "It puts {asked} on '{input}', more than the {withstood} that the device document says it "
        "withstands, or for longer",
        asked=asked_of,
        input=source.name,
        withstood=(max(voltage for voltage, _ in known), "V"),
    )
