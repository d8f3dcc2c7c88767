"""An input that is powered by hand or by a script, as both commands show and run it."""

from __future__ import annotations

import contextlib
import math
import sys
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from railwright.cli.detail import Detail
from railwright.cli.exits import BadInput, Exit, expect_free, say, stands

if TYPE_CHECKING:
    from railwright.cli.live import PrintedLines
    from railwright.job import Power
    from railwright.running.outcome import RunOutcome
    from railwright.running.requests import Requests

HOUR = "1 h"
"""How long something is powered at most, where nothing is said."""


@dataclass(frozen=True)
class Choices:
    """What a person chose of a run. procedure_to: where what was done is written as a procedure."""

    operator: str
    unit: str
    folder: Path | None
    twins: bool
    consent: bool
    procedure_to: Path | None = None


def value_of(option: str, text: str, unit: str) -> float:
    """What an option says [SI unit]. BadInput where it says nothing of the kind."""
    from railwright.quantities import parse_value

    try:
        return parse_value(text, unit)
    except ValueError as error:
        raise BadInput(f"{option}: {error}") from None


def range_of(option: str, text: str | None) -> tuple[float, float] | None:
    """The voltages that an option names [V]; None: it is left out."""
    from railwright.quantities import parse_interval

    try:
        found = None if text is None else parse_interval(text, "V")
    except ValueError as error:
        raise BadInput(f"{option}: {error}") from None
    return None if found is None else (found.low, found.high)


def made(make: Callable[[], Power]) -> Power:
    """What is to be powered. BadInput where it cannot be meant."""
    try:
        return make()
    except ValueError as error:
        raise BadInput(str(error)) from None


def show_set_points(power: Power, detail: Detail) -> None:
    """What would be set, and why."""
    from railwright.powering.procedures import WRITTEN
    from railwright.quantities import show

    if power.check is None:
        return
    documents, settings = power.levels.checked.documents, power.levels.settings
    feed = power.check.settings.set_points[power.input]
    outputs = " and ".join(map(str, feed.names))
    sensed = f"through '{feed.lead}', sensed {feed.sense}"
    whole = documents.device.device
    detail.say(f"{outputs} feeds {whole if power.typed else f'{power.input} of {whole}'}, {sensed}")
    low, high = show(power.low, "V"), show(power.high, "V")
    others = f"; {low} to {high} may be asked for, all of it checked" if power.low < power.high else ""
    detail.say(f"on at {show(power.at, 'V')}{others}")
    for name, unit in WRITTEN.items():
        if math.isfinite(value := feed.value(name)):
            why = "; ".join(r.why for r in settings.reasons if (r.about, r.setting) == (power.input, name))
            detail.say(f"{name.replace('_', ' ')} {show(value, unit)}: {why or 'as the procedure says'}")
    detail.say(f"off after {show(power.at_most, 's')} at the latest")


# One piece: guard, supplies, signals and printer end in the reverse order of their beginning.
def run_power(
    power: Power,
    choices: Choices,
    detail: Detail,
    *,
    requests: Requests | None = None,
    display: PrintedLines | None = None,
    beside: Callable[[], contextlib.AbstractContextManager[object]] = contextlib.nullcontext,
) -> RunOutcome:
    """Power it, and say how it ended. beside: entered while the printer is, such as what reads keys."""
    from railwright.cli.by_hand import ask_a_person
    from railwright.cli.printer import Printer
    from railwright.cli.run import on_twins, play, report_outcome
    from railwright.cli.run_words import code_of_run
    from railwright.guard.process_link import ProcessLink
    from railwright.running.by_hand import SimulatedHands
    from railwright.running.folder import default_folder
    from railwright.running.interruption import StopRequest, signals_ask

    assert power.check is not None, "only what was not blocked is run"
    checked = power.check.checked
    checked = replace(checked, settings=replace(checked.settings, findings=power.findings))
    place = choices.folder or default_folder(power.check.job.path, choices.unit)
    expect_free(place)
    stop = StopRequest()
    with contextlib.ExitStack() as stack:
        try:
            link = ProcessLink()
        except OSError as error:
            raise BadInput(f"expected a guard beside the run, got '{error}': begin again") from None
        stack.callback(link.close)
        given: dict[str, Any] = {"stop": stop, "link": link, "consent": choices.consent}
        given |= {"requests": requests, "display": display, "hands": ask_a_person}
        if choices.twins:
            checked, started = on_twins(stack, checked, detail)
            given |= {"wait_for_lost": 2.0, "hands": SimulatedHands(started.set_by_hand)}
        stack.enter_context(signals_ask(stop))
        printer = stack.enter_context(Printer(stop))
        with beside():
            outcome = play(
                checked, choices.unit, choices.operator, place, printer, quiet=detail.quiet, **given
            )
        stands(code_of_run(outcome))
        report_outcome(outcome, detail.quiet, checked.documents)
    write_procedure(power, choices.procedure_to, outcome)
    return outcome


def write_procedure(power: Power, to: Path | None, outcome: RunOutcome) -> None:
    """What was done as a procedure, in a file that is new; with the documents that were made for it."""
    from railwright.job import device_beside
    from railwright.records.manifest import write_together

    if to is None or not outcome.energised:
        return
    files = {to: [power.as_procedure(outcome.record.events, to).encode()]}
    if power.typed:
        files[device_beside(to)] = [power.typed.encode()]
    write_together(files, new=True, folders=True)
    say(f"what was done: {to}")


def code_of(outcome: RunOutcome) -> Exit:
    """The exit code, with what was lost of the output said."""
    from railwright.cli.run_words import code_of_run
    from railwright.cli.streams import loss_of

    if loss := loss_of(sys.stderr):
        say(f"caution: {loss}")
    return code_of_run(outcome)
