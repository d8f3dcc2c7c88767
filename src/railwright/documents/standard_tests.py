"""Which standard's test a shape plays: its pieces, and what is wrong with what was chosen of it."""

from __future__ import annotations

from collections.abc import Iterator

from railwright.documents.device import Device
from railwright.documents.files import DocumentSource
from railwright.documents.procedure import Procedure
from railwright.documents.repeating import MOST_TURNS, turns_within
from railwright.documents.shape import InputWaveform, ShapeStep
from railwright.documents.sources import Problem, hint
from railwright.documents.standard_figures import package_figures
from railwright.quantities import quoted
from railwright.waveforms.shapes import MOST_MOVES, Piece, count_of, duration_of
from railwright.waveforms.standards import TESTS, Choice, NoSuchChoice, Permitted, StandardFigures, Test


def figures_of(procedure: Procedure, test: Test) -> StandardFigures:
    """The figures of a test's standard: the procedure's own, else the package's."""
    return procedure.own_figures.get(test.standard) or package_figures()[test.standard]


def choice_of(waveform: InputWaveform, device: Device, name: str) -> Choice:
    """What a procedure chooses of a test for one input."""
    nominal, lowest = 12.0, 9.0
    if name in device.inputs:
        nominal, lowest = device.inputs[name].nominal, device.inputs[name].operating.low
    return Choice(nominal, lowest, waveform.level, waveform.duration, waveform.impedance)


def pieces_of(procedure: Procedure, device: Device, shape: ShapeStep, name: str) -> tuple[Piece, ...]:
    """What a shape gives one of its inputs. NoSuchChoice where the standard has no such thing."""
    waveform = shape.waveforms[name]
    if waveform.recorded:
        return waveform.recorded
    if waveform.standard is None:
        return shape.own_pieces(waveform)
    test = TESTS[waveform.standard]
    return test.pieces(figures_of(procedure, test), choice_of(waveform, device, name))


def pieces_in_step(procedure: Procedure, device: Device, number: int, name: str) -> tuple[Piece, ...]:
    """What the shape of a step, by its position, gives one of its inputs; nothing where it has no shape."""
    shape = procedure.steps[number].shape
    return () if shape is None else pieces_of(procedure, device, shape, name)


def turns_of(procedure: Procedure, device: Device, shape: ShapeStep) -> int:
    """How often a shape is played: in any case, or, where something ends it, at most."""
    if shape.repeat_until is None or shape.at_most is None:
        return shape.repeat
    turn = max(duration_of(pieces_of(procedure, device, shape, name)) for name in shape.waveforms)
    return turns_within(shape.repeat_until, shape.at_most, turn, shape.pause_between)


def check_turns(procedure: Procedure, source: DocumentSource, device: Device) -> Iterator[Problem]:
    """A problem for each shape that comes to too many changes within the time that is given to it."""
    for number, step in enumerate(procedure.steps):
        shape = step.shape
        if shape is None or shape.repeat_until is None:
            continue
        turns = turns_of(procedure, device, shape)
        pieces = (pieces_of(procedure, device, shape, name) for name in shape.waveforms)
        changes = turns * sum(count_of(each) for each in pieces)
        place = source.where(("steps", number, "shape", "at_most"))
        if turns > MOST_TURNS:
            told = f"expected at most {MOST_TURNS:,} turns, got {turns:,}; give a smaller bound"
            yield Problem(place, told)
        elif changes > MOST_MOVES:
            told = f"expected at most {MOST_MOVES:,} changes of the set point, got {changes:,.0f}"
            yield Problem(place, f"{told}; give a smaller bound")


def permitted_of(procedure: Procedure, waveform: InputWaveform) -> Permitted | None:
    """What a waveform's standard permits of the generator; None: it has none, or that says nothing."""
    test = TESTS.get(waveform.standard or "")
    return None if test is None or test.permitted is None else test.permitted(figures_of(procedure, test))


def check_standards(procedure: Procedure, source: DocumentSource, device: Device) -> Iterator[Problem]:
    """A problem for each test that there is none of, and for each choice that its standard does not have."""
    for place, _, name, waveform in procedure.waveforms:
        if waveform.standard is None:
            continue
        test = TESTS.get(waveform.standard)
        if test is None:
            near = hint(waveform.standard, list(TESTS)) or f"; there are {', '.join(TESTS)}"
            message = f"expected a standard's test, got {quoted(waveform.standard)}{near}"
            yield Problem(source.where((*place, "standard")), message)
            continue
        spare = [
            key
            for key in ("level", "duration", "impedance")
            if getattr(waveform, key) is not None and key not in test.uses
        ]
        for key in spare:
            message = f"expected no '{key}' for {test.name}, got one; remove it"
            yield Problem(source.where((*place, key)), message)
        if waveform.recorded:
            continue
        for error in _wrong_choices(figures_of(procedure, test), test, choice_of(waveform, device, name)):
            yield Problem(source.where((*place, error.at)), f"{error}")


def _wrong_choices(figures: StandardFigures, test: Test, choice: Choice) -> Iterator[NoSuchChoice]:
    """Everything that is missing in what is chosen, or that the standard does not have: behind one of them
    stands another, which is seen with a choice that there is.
    """
    for _ in Choice._fields:
        try:
            test.pieces(figures, choice)
            return
        except NoSuchChoice as error:
            yield error
            if error.instead is None:
                return
            key, value = error.instead
            choice = choice._replace(**{key: value})  # type: ignore[arg-type]
