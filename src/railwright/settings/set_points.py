"""Set points of one input: what is asked stays as it is asked, `auto` is worked out; each with its reason."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import partial

from railwright.documents.bench import Output
from railwright.documents.loader import Documents
from railwright.documents.procedure import Limits
from railwright.plan.set_points import Feed, OutputSetPoints
from railwright.quantities import show
from railwright.settings.context import Draft, Source, locate
from railwright.settings.engine_rules import AUTO_IMPOSSIBLE
from railwright.settings.findings import Finding, Reason, Severity
from railwright.settings.windows import current_limit, opp, ovp, rise, trip_delay
from railwright.settings.windows.choose import Chosen, Settled, Waiting
from railwright.settings.windows.window import End, Window


def _settled(found: Window, as_written: Callable[[float], str], provisional: bool) -> Settled:
    """The value of a setting: as it is written, or else the one that its window recommends.

    provisional: a rehearsal follows that settles the closed forms; until then the upper end does.
    """
    if found.asked is not None:
        return Chosen(found.asked, as_written(found.asked))
    if found.lacks:
        return found.lacks
    if found.recommended is not None:
        return Chosen(found.recommended, found.why)
    if provisional and found.high is not None and not found.colliding(settled=True):
        return Chosen(found.high.value, "until the rehearsal")
    return ()


def _limit_as_written(source: Source, value: float) -> str:
    words = []
    if source.needs is not None and source.needs[0] > 0:
        words.append(f"{value / source.needs[0]:.3g} times {source.needs[1]} of {show(source.needs[0], 'A')}")
    if source.input.current.at_most is not None:
        words.append(f"the input bears {show(source.input.current.at_most, 'A')}")
    if source.lead.permitted_current is not None:
        words.append(f"the lead {show(source.lead.permitted_current, 'A')}")
    return "; ".join(["as the procedure says", *words])


def _ovp_as_written(source: Source, value: float, limit: float | None) -> str:
    words = []
    highest = source.highest_terminals(limit or 0.0)
    if highest is not None and (limit is not None or not source.senses):
        words.append(
            f"{show(value - highest, 'V')} above the highest voltage at the terminals, {show(highest, 'V')}"
        )
    withstands = source.input.withstands_always
    if withstands is not None:
        words.append(
            f"{show(withstands - value, 'V')} below the {show(withstands, 'V')} that the input withstands"
        )
    return "; ".join(["as the procedure says", *words])


def _delay_as_written(source: Source, value: float, limit: float | None) -> str:
    words = ["as the procedure says"]
    longest = None
    if limit is not None:
        longest = source.longest_charging(limit - (source.limit_error(limit) or 0.0))
    if longest is not None and 0 < longest.time < float("inf"):
        words.append(f"{longest.words} at the limit takes up to {show(longest.time, 's')} by C·V/I")
        words.append(f"{value / longest.time:.3g} times that")
    return "; ".join(words)


def _feed(source: Source, limit: float, ovp: float, delay: float, opp: float) -> Feed:
    assert source.limits is not None
    outputs = tuple(
        OutputSetPoints(
            output=name,
            current_limit=_own(limit * part, output, source.limits.current_limit == "auto"),
            at_limit=source.limits.at_limit,
            trip_delay=delay,
            ovp=ovp * share,
            share=share,
            opp=opp * part * share,
            ocp=source.limits.ocp * part if source.limits.ocp is not None else math.inf,
            ocp_delay=_ocp_delay(source.limits, output),
        )
        for (name, output), part, share in zip(
            source.outputs.items(), source.parts, source.shares, strict=True
        )
    )
    return Feed(
        input=source.name,
        arrangement=source.hook_up.arrangement,
        outputs=outputs,
        lead=source.hook_up.lead,
        sense=source.hook_up.sensed,
        trips_when=source.limits.trips_when,
        fixture=source.hook_up.fixture,
    )


def _own(limit: float, output: Output, auto: bool) -> float:
    """An output's part of a current limit [A], on its own grid where it was worked out: unequal outputs in
    parallel divide it by full scale.
    """
    step = output.programming.current.resolution if output.programming else None
    if not auto or step is None or math.isnan(limit):
        return limit
    return round(round(limit / step) * step, 12)


def _ocp_delay(limits: Limits, output: Output) -> float:
    """What is asked, or else the shortest that the output has [s]."""
    if limits.ocp_delay is not None:
        return limits.ocp_delay
    return output.ocp.delay.low if limits.ocp is not None and output.ocp and output.ocp.delay else 0.0


def _shared(source: Source, setting: str) -> str:
    """How a setting of an input is divided among the outputs of its group."""
    if source.parallel and setting in ("current_limit", "ocp", "opp"):
        parts = ", ".join(
            f"{name} {part:.4g}" for name, part in zip(source.outputs, source.parts, strict=True)
        )
        return f"; divided among the parallel outputs by full scale: {parts}"
    if source.series and setting in ("ovp", "opp"):
        parts = ", ".join(
            f"{name} {share:.4g}" for name, share in zip(source.outputs, source.shares, strict=True)
        )
        return f"; each output in series carries its share by full scale: {parts}"
    if source.series and setting in ("current_limit", "ocp"):
        return "; the same on each output in series"
    return ""


@dataclass(frozen=True)
class InputSettled:
    """What came of one input: its set points, the reason of each, its windows, and what stops it."""

    draft: Draft
    reasons: list[Reason]
    windows: list[Window]
    findings: list[Finding]


# One piece: settings in the order in which one hangs on the other.
def settle_input(
    source: Source, documents: Documents, rehearsed: Mapping[str, End], provisional: bool
) -> InputSettled:
    """Set points of one input with their reasons and windows, and every stop that says why there is none.

    rehearsed: setting -> the end of its window that a rehearsal has settled. A setting that does not hang on
    another is settled whatever becomes of the other.
    """
    assert source.limits is not None
    ends = rehearsed
    windows = [_with(current_limit.window(source), ends, partial(current_limit.recommend, source=source))]
    limit = _settled(windows[0], partial(_limit_as_written, source), provisional)
    amperes = limit.value if isinstance(limit, Chosen) else None
    windows.append(_with(ovp.window(source, amperes), ends, ovp.recommend))
    level = _settled(windows[1], partial(_ovp_as_written, source, limit=amperes), provisional)
    if isinstance(level, Chosen) and windows[1].asked is None and amperes is None and source.senses:
        level = Waiting()
    delay: Settled | None = None
    if source.limits.at_limit == "trip":
        found = trip_delay.window(source, amperes)
        if amperes is not None:
            found = _with(found, ends, partial(trip_delay.recommend, source=source))
        windows.append(found)
        delay = _settled(found, partial(_delay_as_written, source, limit=amperes), provisional)
        if not found.lacks and found.asked is None and amperes is None:
            delay = Waiting()
    power: Settled | None = None
    if opp.is_there(source):
        volts = level.value if isinstance(level, Chosen) else None
        found = opp.window(source, amperes, volts)
        windows.append(_with(found, ends, opp.recommend) if amperes is not None else found)
        if source.limits.opp is not None:
            power = _settled(windows[-1], lambda value: "as the procedure says", provisional)
            if isinstance(power, Chosen) and windows[-1].asked is None and None in (amperes, volts):
                power = Waiting()
    slope = rise.window(source, documents, amperes)
    windows += [] if slope is None else [slope]
    settings: dict[str, tuple[str, Settled | None]] = {
        "current_limit": ("A", limit),
        "ovp": ("V", level),
        "trip_delay": ("s", delay),
        "opp": ("W", power),
    }
    reasons: list[Reason] = []
    findings: list[Finding] = []
    values: dict[str, float] = {}
    for setting, (unit, settled) in settings.items():
        if isinstance(settled, Chosen):
            values[setting] = settled.value
            where = documents.where("procedure", ("limits", source.name, setting))
            why = settled.why + _shared(source, setting)
            reasons.append(Reason(source.name, setting, settled.value, unit, where, why))
        elif settled is None:  # a limit that regulates has no delay; a protection that is not used
            values[setting] = math.inf if setting == "opp" else 0.0
        elif not isinstance(settled, Waiting):
            for impossible in settled:
                where = locate(documents, impossible.path)
                why = f"'{setting}: auto' of {source.name}: {impossible.why}"
                findings.append(
                    Finding(AUTO_IMPOSSIBLE, Severity.STOP, source.name, where, why, impossible.remedy)
                )
    asked: dict[str, tuple[str, float | None]] = {
        "ocp": ("A", source.limits.ocp),
        "ocp_delay": ("s", source.limits.ocp_delay),
    }
    for setting, (unit, value) in asked.items():
        if value is not None:
            where = documents.where("procedure", ("limits", source.name, setting))
            why = "as the procedure says" + _shared(source, setting)
            reasons.append(Reason(source.name, setting, value, unit, where, why))
    reasons += _channels(source, documents)
    each = [values.get(setting, math.nan) for setting in settings]
    draft = Draft(_feed(source, *each), frozenset(values), len(values) == len(settings))
    located = [_located(found, documents) for found in windows]
    return InputSettled(draft, reasons, located, findings)


def _channels(source: Source, documents: Documents) -> Iterator[Reason]:
    """The channel of each output that has another number in the supply's commands than its name says."""
    for output in source.outputs:
        supply, own = output.supply, output.output
        channel = documents.bench.supply_of(output).channels[own]
        if str(channel) != own:
            where = documents.where("bench", ("supplies", supply, "outputs", own, "channel"))
            why = f"{supply} knows output {own} by this number; it feeds {source.name}"
            yield Reason(output, "channel", str(channel), "", where, why)


def _with(found: Window, ends: Mapping[str, End], recommend: Callable[[Window], Window]) -> Window:
    """A window with the end that a rehearsal has settled, where there is one."""
    end = ends.get(found.setting)
    return found if end is None else recommend(replace(found.with_end(end), recommended=None, why=""))


def _located(found: Window, documents: Documents) -> Window:
    """With the line that each end comes from."""
    return replace(found, ends=tuple(replace(end, where=locate(documents, end.path)) for end in found.ends))
