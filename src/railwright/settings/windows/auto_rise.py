"""`rise: auto`: the rate of each power-up written out, so that nothing after it knows of `auto`."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Mapping
from dataclasses import replace

from railwright.documents.loader import Documents
from railwright.documents.procedure import Step
from railwright.quantities import joined, show, state
from railwright.settings.context import FedInput, locate
from railwright.settings.engine_rules import EMPTY_WINDOW
from railwright.settings.findings import Finding, Reason, Severity
from railwright.settings.hookup.result import HookedUp
from railwright.settings.set_points import impossible_auto
from railwright.settings.windows import current_limit, rise
from railwright.settings.windows.window import Window, collision


def with_rises(documents: Documents, rates: Mapping[int, float | None]) -> Documents:
    """Documents with these rates of rise [V/s] in the power-ups of these numbers; None: as fast as can be."""

    def told(index: int, step: Step) -> Step:
        if index not in rates or step.power_up is None:
            return step
        return step.model_copy(update={"power_up": step.power_up.model_copy(update={"rise": rates[index]})})

    return documents.with_procedure(
        steps=tuple(itertools.starmap(told, enumerate(documents.procedure.steps)))
    )


def risen(hooked: HookedUp, steps: Iterable[int]) -> HookedUp:
    """Work the rates of these power-ups out. hooked: with the rates left out; an input for which none can be
    worked out goes on to rise as fast as its output does.

    One rate serves all inputs of a power-up, within the windows of all of them. Where there is no such rate,
    that is a stop, and what is rehearsed all the same rises at the least that is fast enough.
    """
    documents, (sources, _) = hooked.documents, hooked.fed
    rates: dict[int, float] = {}
    reasons, findings = list(hooked.reasons), list(hooked.findings)
    for index in steps:
        up = documents.procedure.steps[index].power_up
        assert up is not None
        where = locate(documents, ("procedure", "steps", index, "power_up", "rise"))
        about = ", ".join(up.order)
        windows = [
            found
            for name in up.order
            if name in sources
            and (found := rise.window(sources[name], documents, _limit(sources[name]), index)) is not None
        ]
        lacks = [impossible for window in windows for impossible in window.lacks]
        findings += impossible_auto(lacks, "rise", about, documents)
        if windows and not lacks:
            whole = _together(windows, about)
            rate = whole.recommended or (whole.low.value if whole.low is not None else None)
            assert rate is not None, "an output has a fastest rise"
            rates[index], why = rate, whole.why
            if (pair := whole.colliding()) is not None:
                said, remedy = collision(whole, pair)
                remedy = ", or ".join(each for each in (remedy, _apart(windows)) if each)
                findings.append(Finding(EMPTY_WINDOW, Severity.STOP, about, where, said, remedy))
                why = state(
                    "no rate is right: {said}; rehearsed with the least that is fast enough", said=said
                )
            reasons.append(Reason(about, "rise", rates[index], "V/s", where, why))
    return HookedUp(with_rises(documents, rates), tuple(reasons), tuple(findings), rates)


def as_risen(documents: Documents, rates: Mapping[int, float]) -> Documents:
    """Documents with the rates that a run was done with, where they say `auto`; KeyError where it had none.

    rates: of the run's settings, by the number of the power-up [V/s].
    """
    if set(rates) != set(documents.procedure.auto_rises):
        raise KeyError("rise")
    return with_rises(documents, rates) if rates else documents


def rates_told(documents: Documents, reasons: Iterable[Reason]) -> Mapping[int, float]:
    """The rates that a run was done with, of a version that kept them with their reasons alone: one for each
    rate that was worked out, in the steps' order. KeyError where there is another number of them.
    """
    steps = documents.procedure.auto_rises
    rates = [each.value for each in reasons if each.setting == "rise" and not isinstance(each.value, str)]
    if len(rates) != len(steps):
        raise KeyError("rise")
    return dict(zip(steps, rates, strict=True))


def _limit(source: FedInput) -> float | None:
    """The current limit as it is written or by its closed forms [A]."""
    found = current_limit.window(source)
    return found.recommended if found.asked is None else found.asked


def _apart(windows: list[Window]) -> str:
    """What would do where each input had a power-up of its own: the rate of each; '': it would not do."""
    rates = [f"{each.about} at {show(each.recommended, 'V/s')}" for each in windows
             if each.recommended is not None]  # fmt: skip
    if len(windows) < 2 or len(rates) < len(windows):
        return ""
    return f"a 'power_up' step for each input: {', '.join(rates)}"


def _together(windows: list[Window], about: str) -> Window:
    """The window of all inputs, each end with its input where there are several."""
    ends = tuple(
        replace(end, why=joined(": ", (window.about, end.why)) if len(windows) > 1 else end.why)
        for window in windows
        for end in window.ends
    )
    return rise.recommend(replace(windows[0], about=about, ends=ends, recommended=None, why=""))
