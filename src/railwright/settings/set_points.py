"""Set points of one input: what is asked stays as it is asked, `auto` is worked out; each with its reason."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import replace
from functools import partial
from typing import NamedTuple

from railwright.documents.bench import Output
from railwright.documents.loader import Documents
from railwright.documents.procedure import Limits
from railwright.plan.set_points import Feed, OutputSetPoints
from railwright.quantities import joined, state
from railwright.settings.context import UNITS, Draw, FedInput, locate
from railwright.settings.engine_rules import AUTO_IMPOSSIBLE
from railwright.settings.findings import Finding, Reason, Severity
from railwright.settings.group import output_path
from railwright.settings.windows import current_limit, rise
from railwright.settings.windows.protections import (
    chosen_opp,
    chosen_ovp,
    chosen_trip_delay,
    opp_window,
    ovp_window,
    trip_delay_window,
)
from railwright.settings.windows.window import Choice, End, Impossible, Window

AS_WRITTEN = "as the procedure says"


def _chosen(found: Window, as_written: Callable[[float], str], provisional: bool) -> tuple[float, str] | None:
    """The value of a setting, and why: as it is written, or else the one that its window recommends; None: it
    lacks something, or is empty.

    provisional: a rehearsal follows that settles the closed forms; until then the upper end does.
    """
    if found.asked is not None:
        return found.asked, as_written(found.asked)
    if found.recommended is not None and not found.lacks:
        return found.recommended, found.why
    if provisional and found.high is not None and not found.lacks and not found.colliding(settled=True):
        return found.high.value, "until the rehearsal"
    return None


def _limit_as_written(source: FedInput, value: float) -> str:
    need, words, _ = source.needs or Draw(0.0, "", False)
    at_most, permitted = source.input.current.at_most, source.lead.permitted_current
    return _joined(
        "the constant current that the input is fed with"
        if source.fed_current is not None
        else state(
            "{ratio:.3g} times {words} of {needed}",
            ratio=(value / need, "1"),
            words=words,
            needed=(need, "A"),
        )
        if need > 0
        else "",
        state("the input bears {borne}", borne=(at_most, "A")) if at_most is not None else "",
        state("the lead {permitted}", permitted=(permitted, "A")) if permitted is not None else "",
    )


def _ovp_as_written(source: FedInput, value: float, limit: float | None) -> str:
    highest, withstands = source.highest_terminals(limit or 0.0), source.input.withstands_always
    known = highest is not None and (limit is not None or not source.senses)
    return _joined(
        state(
            "{margin_above} above the highest voltage at the terminals, {highest}",
            margin_above=(value - highest, "V"),
            highest=(highest, "V"),
        )
        if known and highest is not None
        else "",
        state(
            "{margin_below} below the {withstood} that the input withstands",
            margin_below=(withstands - value, "V"),
            withstood=(withstands, "V"),
        )
        if withstands is not None
        else "",
    )


def _delay_as_written(source: FedInput, value: float, limit: float | None) -> str:
    longest = source.longest_charging(source.surely(limit)) if limit is not None else None
    if longest is None or not 0 < longest.time < math.inf:
        return AS_WRITTEN
    takes = state(
        "{charging} at the limit takes up to {charging_time} by C·V/I",
        charging=longest.words,
        charging_time=(longest.time, "s"),
    )
    return _joined(takes, state("{ratio:.3g} times that", ratio=(value / longest.time, "1")))


def _joined(*words: str) -> str:
    """Why a value is what it is that is written: what of these can be said."""
    return joined("; ", [AS_WRITTEN, *filter(None, words)])


def _feed(source: FedInput, values: Mapping[str, float]) -> Feed:
    """Set points of each output by those of the input; nan where there is none."""
    limit, level = values.get("current_limit", math.nan), values.get("ovp", math.nan)
    outputs = tuple(
        OutputSetPoints(
            output=name,
            current_limit=_own(limit * part, output, source.limits.current_limit == "auto"),
            at_limit=source.limits.at_limit,
            trip_delay=values.get("trip_delay", math.nan),
            ovp=level * share,
            share=share,
            opp=values.get("opp", math.nan) * part * share,
            ocp=values["ocp"] * part,
            ocp_delay=_ocp_delay(source.limits, output),
        )
        for (name, output), part, share in zip(
            source.outputs.items(), source.parts, source.shares, strict=True
        )
    )
    return Feed(
        input=source.name,
        arrangement=source.arrangement,
        outputs=outputs,
        lead=source.lead_name,
        sense=source.sense,
        trips_when=source.limits.trips_when,
        fixture=source.fixture_name,
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


def _shared(source: FedInput, setting: str) -> str:
    """How a setting of an input is divided among the outputs of its group."""
    if source.parallel and setting in ("current_limit", "ocp", "opp"):
        how, portions = "divided among the parallel outputs by full scale", source.parts
    elif source.series and setting in ("ovp", "opp"):
        how, portions = "each output in series carries its share by full scale", source.shares
    else:
        same = source.series and setting in ("current_limit", "ocp")
        return "; the same on each output in series" if same else ""
    each = joined(
        ", ",
        (
            state("{output} {share:.4g}", output=name, share=(part, "1"))
            for name, part in zip(source.outputs, portions, strict=True)
        ),
    )
    return state("; {how}: {each}", how=how, each=each)


class InputSettled(NamedTuple):
    """What came of one input: its set points (nan where there is none), the reason of each, its windows, and
    what stops it.
    """

    feed: Feed
    reasons: list[Reason]
    windows: list[Window]
    findings: list[Finding]


# One piece: settings in the order in which one hangs on the other.
def settle_input(
    source: FedInput, documents: Documents, rehearsed: Mapping[str, End], provisional: bool
) -> InputSettled:
    """Set points of one input with their reasons and windows, and every stop that says why there is none.

    rehearsed: setting -> the end of its window that a rehearsal has settled. A setting that does not hang on
    another is settled whatever becomes of the other.
    """
    limits, operating = source.limits, source.in_operation
    windows: list[Window] = []
    reasons: list[Reason] = []
    findings: list[Finding] = []
    # A limit that regulates has no delay; the others are not used.
    values = {"trip_delay": 0.0, "opp": math.inf, "ocp": math.inf, "ocp_delay": 0.0}

    def keep(setting: str, value: float, why: str) -> float:
        where = documents.where("procedure", ("limits", source.name, setting))
        told = joined("", (why, _shared(source, setting)))
        values[setting] = value
        reasons.append(Reason(source.name, setting, value, UNITS[setting], where, told))
        return value

    def settle(
        found: Window,
        choose: Choice,
        as_written: Callable[[float], str],
        *,
        waits: bool = False,
    ) -> float | None:
        """The value of a setting; waits: it hangs on another that has none."""
        end = rehearsed.get(found.setting)
        window = found if end is None else found.with_end(end).recommending(choose)
        windows.append(window)
        if not window.used:
            return None
        values.pop(window.setting, None)
        if window.asked is None:
            findings.extend(impossible_auto(window.lacks, window.setting, source.name, documents))
        chosen = _chosen(window, as_written, provisional)
        if chosen is None or (waits and window.asked is None):
            return None
        return keep(window.setting, *chosen)

    amperes = settle(
        current_limit.window(source),
        partial(current_limit.chosen, operating),
        partial(_limit_as_written, operating),
    )
    volts = settle(
        ovp_window(source, amperes),
        chosen_ovp,
        partial(_ovp_as_written, operating, limit=amperes),
        waits=amperes is None and source.senses,
    )
    if limits.at_limit == "trip":
        settle(
            trip_delay_window(source, amperes),
            partial(chosen_trip_delay, operating),
            partial(_delay_as_written, operating, limit=amperes),
            waits=amperes is None,
        )
    if limits.opp is not None or not source.without("opp"):
        settle(
            opp_window(source, amperes, volts),
            chosen_opp,
            lambda value: AS_WRITTEN,
            waits=None in (amperes, volts),
        )
    if (own := rise.window(source, documents, amperes)) is not None:
        windows.append(own)
    for setting in ("ocp", "ocp_delay"):
        if (asked := getattr(limits, setting)) is not None:
            keep(setting, asked, AS_WRITTEN)
    reasons += _channels(source, documents)
    located = [
        replace(found, ends=tuple(replace(end, where=locate(documents, end.path)) for end in found.ends))
        for found in windows
    ]
    return InputSettled(_feed(source, values), reasons, located, findings)


def impossible_auto(
    lacks: Iterable[Impossible], setting: str, about: str, documents: Documents
) -> Iterator[Finding]:
    """What keeps an automatic value from being worked out."""
    for each in lacks:
        yield Finding(
            AUTO_IMPOSSIBLE,
            Severity.STOP,
            about,
            locate(documents, each.path),
            f"'{setting}: auto' of {about}: {each.why}",
            each.remedy,
        )


def _channels(source: FedInput, documents: Documents) -> Iterator[Reason]:
    """The channel of each output that has another number in the supply's commands than its name says."""
    for output in source.outputs:
        channel = str(documents.bench.supply_of(output).channels[output.output])
        if channel != output.output:
            yield Reason(
                output,
                "channel",
                channel,
                "",
                locate(documents, (*output_path(output), "channel")),
                f"{output.supply} knows output {output.output} by this number; it feeds {source.name}",
            )
