"""From documents to settings: set points, the reason behind each, and the findings of every static rule."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace

from railwright.documents.loader import Documents
from railwright.documents.procedure import Procedure
from railwright.documents.sources import DocumentErrors, Problem, hint
from railwright.quantities import show
from railwright.rehearsal.setpoints import Feed, OutputSetPoints, SetPoints
from railwright.settings import automatic
from railwright.settings.automatic import Chosen, Impossible
from railwright.settings.context import Bound, Context, Source, locate, sources_of
from railwright.settings.findings import Finding, Reason, Severity
from railwright.settings.rehearsed import REHEARSED_RULES
from railwright.settings.rehearsed.view import RehearsalResult, Rehearsed
from railwright.settings.rule import Path, Rule, Seen, Unknown
from railwright.settings.rules import RULES

AUTO_IMPOSSIBLE = "auto-impossible"
UNKNOWN_FIGURE = "unknown-figure"
OVERRIDE_NO_EFFECT = "override-no-effect"
ENGINE_RULES = {
    AUTO_IMPOSSIBLE: Severity.STOP,
    UNKNOWN_FIGURE: Severity.NOTE,
    OVERRIDE_NO_EFFECT: Severity.NOTE,
}
"""Findings that come from settling itself and from the rules' engine."""

_ORDER = {Severity.STOP: 0, Severity.CAUTION: 1, Severity.NOTE: 2}


@dataclass(frozen=True, slots=True)
class Settings:
    """What to dial in. `set_points`: the inputs whose limits could be settled; the others have a stop."""

    set_points: SetPoints
    reasons: tuple[Reason, ...]
    findings: tuple[Finding, ...]

    @property
    def blocked(self) -> bool:
        """Whether something must not be energised."""
        return any(finding.blocks for finding in self.findings)


def findings_of(rules: Iterable[Rule[Seen]], seen: Seen, documents: Documents) -> list[Finding]:
    """What the rules have to say, one note for each unknown figure however many rules wanted it."""
    found: list[Finding] = []
    unknown: dict[tuple[str, Path, str], list[str]] = {}
    for rule in rules:
        for said in rule(seen):
            if isinstance(said, Unknown):
                unknown.setdefault((said.about, said.path, said.figure), []).append(said.check)
            else:
                where = locate(documents, said.path)
                found.append(Finding(rule.id, rule.severity, said.about, where, said.why, said.remedy))
    for (about, path, figure), checks in unknown.items():
        where = locate(documents, path)
        wanted = "; ".join(dict.fromkeys(checks))
        found.append(
            Finding(
                UNKNOWN_FIGURE,
                Severity.NOTE,
                about,
                where,
                f"{figure} is not given, so this could not be checked: {wanted}",
                "give the figure in the document, or check it by hand",
            )
        )
    return found


def known_rules() -> dict[str, Severity]:
    """Every rule id that a finding can carry, with its severity."""
    return {
        **ENGINE_RULES,
        **{rule.id: rule.severity for rule in RULES},
        **{rule.id: rule.severity for rule in REHEARSED_RULES},
    }


def check_overrides(documents: Documents) -> None:
    """Raise DocumentErrors where the procedure overrides a finding that no rule makes."""
    known = known_rules()
    problems = []
    for index, override in enumerate(documents.procedure.overrides):
        if override.finding not in known:
            problems.append(
                Problem(
                    documents.where("procedure", ("overrides", index, "finding")),
                    f"expected the id of a finding, got '{override.finding}'"
                    + (hint(override.finding, known) or "; take the id that the finding shows"),
                )
            )
    if problems:
        raise DocumentErrors(problems)


def override(findings: Sequence[Finding], documents: Documents, ids: Iterable[str]) -> list[Finding]:
    """Apply the procedure's overrides to stops; an override among `ids` that accepts nothing is noted.

    An impossible `auto` cannot be accepted: there is no value to go on with.
    """
    procedure: Procedure = documents.procedure
    result = list(findings)
    for index, wanted in enumerate(procedure.overrides):
        if wanted.finding not in ids:
            continue
        accepted = False
        for position, finding in enumerate(result):
            if finding.rule != wanted.finding or wanted.about not in (None, finding.about):
                continue
            if finding.severity is Severity.STOP and finding.rule != AUTO_IMPOSSIBLE:
                result[position] = replace(finding, overridden=wanted.because)
                accepted = True
        if not accepted:
            severity = known_rules()[wanted.finding]
            why = (
                "there is no such stop now"
                if severity is Severity.STOP and wanted.finding != AUTO_IMPOSSIBLE
                else "there is no value to go on with"
                if wanted.finding == AUTO_IMPOSSIBLE
                else f"it is a {severity}, which blocks nothing"
            )
            about = f" about '{wanted.about}'" if wanted.about else ""
            result.append(
                Finding(
                    OVERRIDE_NO_EFFECT,
                    Severity.NOTE,
                    wanted.about or "procedure",
                    documents.where("procedure", ("overrides", index)),
                    f"the override of '{wanted.finding}'{about} accepts nothing: {why}",
                    "remove the override",
                )
            )
    return result


def by_severity(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """Stops first, then cautions, then notes; in each, as the rules made them."""
    return tuple(sorted(findings, key=lambda finding: _ORDER[finding.severity]))


def _limit(source: Source) -> Chosen | Impossible:
    assert source.limits is not None
    asked = source.limits.current_limit
    if asked == "auto":
        return automatic.current_limit(source)
    value = float(asked)
    words = []
    if source.needs is not None and source.needs[0] > 0:
        words.append(f"{value / source.needs[0]:.3g} times {source.needs[1]} of {show(source.needs[0], 'A')}")
    if source.input.current.at_most is not None:
        words.append(f"the input bears {show(source.input.current.at_most, 'A')}")
    if source.lead.permitted_current is not None:
        words.append(f"the lead {show(source.lead.permitted_current, 'A')}")
    return Chosen(value, "; ".join(["as the procedure says", *words]))


def _ovp(source: Source, limit: float) -> Chosen | Impossible:
    assert source.limits is not None
    asked = source.limits.ovp
    if asked == "auto":
        return automatic.ovp(source, limit)
    value = float(asked)
    words = []
    highest = source.highest_terminals(limit)
    if highest is not None:
        words.append(
            f"{show(value - highest, 'V')} above the highest voltage at the terminals, {show(highest, 'V')}"
        )
    withstands = source.input.withstands_always
    if withstands is not None:
        words.append(
            f"{show(withstands - value, 'V')} below the {show(withstands, 'V')} that the input withstands"
        )
    return Chosen(value, "; ".join(["as the procedure says", *words]))


def _delay(source: Source, limit: float) -> Chosen | Impossible | None:
    assert source.limits is not None
    asked = source.limits.trip_delay
    if source.limits.at_limit == "regulate":
        return None
    if asked == "auto":
        return automatic.trip_delay(source, limit)
    assert asked is not None, "a limit that trips has a delay"
    value = float(asked)
    words = ["as the procedure says"]
    longest = source.longest_charging(limit - (source.limit_error(limit) or 0.0))
    if longest is not None and 0 < longest.time < float("inf"):
        words.append(f"{longest.words} at the limit takes up to {show(longest.time, 's')} by C·V/I")
        words.append(f"{value / longest.time:.3g} times that")
    return Chosen(value, "; ".join(words))


def _feed(source: Source, limit: float, ovp: float, delay: float | None) -> Feed:
    assert source.limits is not None
    outputs = tuple(
        OutputSetPoints(
            output=name,
            current_limit=limit * part,
            at_limit=source.limits.at_limit,
            trip_delay=delay or 0.0,
            ovp=ovp * share,
            share=share,
        )
        for name, part, share in zip(source.outputs, source.parts, source.shares, strict=True)
    )
    return Feed(
        input=source.name,
        arrangement=source.hook_up.arrangement,
        outputs=outputs,
        lead=source.hook_up.lead,
        sense=source.hook_up.sense,
        trips_when=source.limits.trips_when,
    )


def _shared(source: Source, setting: str) -> str:
    """How a setting of an input is divided among the outputs of its group."""
    if source.parallel and setting == "current_limit":
        parts = ", ".join(
            f"{name} {part:.4g}" for name, part in zip(source.outputs, source.parts, strict=True)
        )
        return f"; divided among the parallel outputs by full scale: {parts}"
    if source.series and setting == "ovp":
        parts = ", ".join(
            f"{name} {share:.4g}" for name, share in zip(source.outputs, source.shares, strict=True)
        )
        return f"; each output in series carries its share by full scale: {parts}"
    if source.series and setting == "current_limit":
        return "; the same on each output in series"
    return ""


def _settle_input(source: Source, documents: Documents) -> tuple[Feed | None, list[Reason], list[Finding]]:
    """Set points of one input with their reasons, or the stops that say why there are none."""
    limit = _limit(source)
    ovp = _ovp(source, limit.value) if isinstance(limit, Chosen) else None
    delay = _delay(source, limit.value) if isinstance(limit, Chosen) else None
    reasons, findings = [], []
    for setting, unit, chosen in (
        ("current_limit", "A", limit),
        ("ovp", "V", ovp),
        ("trip_delay", "s", delay),
    ):
        if isinstance(chosen, Chosen):
            where = documents.where("procedure", ("limits", source.name, setting))
            why = chosen.why + _shared(source, setting)
            reasons.append(Reason(source.name, setting, chosen.value, unit, where, why))
        elif isinstance(chosen, Impossible):
            where = locate(documents, chosen.path)
            why = f"'{setting}: auto' of {source.name}: {chosen.why}"
            findings.append(Finding(AUTO_IMPOSSIBLE, Severity.STOP, source.name, where, why, chosen.remedy))
    if not isinstance(limit, Chosen) or not isinstance(ovp, Chosen) or isinstance(delay, Impossible):
        return None, reasons, findings
    return _feed(source, limit.value, ovp.value, delay.value if delay else None), reasons, findings


def settle(documents: Documents, today: dt.date) -> Settings:
    """Set points of every input with their reasons, and what the static rules find.

    today: decides whether a calibration is overdue. Asked values stay as they are asked; `auto` is worked
    out. Raises DocumentErrors where an override names a finding that no rule makes.
    """
    check_overrides(documents)
    sources, timeline = sources_of(documents)
    feeds: dict[str, Feed] = {}
    reasons: list[Reason] = []
    findings: list[Finding] = []
    for name, source in sources.items():
        if source.limits is None:
            continue
        feed, why, problems = _settle_input(source, documents)
        reasons += why
        findings += problems
        if feed is not None:
            feeds[name] = feed
    context = Context(documents, sources, timeline, feeds, today)
    findings += findings_of(RULES, context, documents)
    ids = {*ENGINE_RULES, *(rule.id for rule in RULES)}
    return Settings(feeds, tuple(reasons), by_severity(override(findings, documents, ids)))


Rehearse = Callable[[Documents, SetPoints], RehearsalResult]
"""Plays the procedure by computation: `rehearse(documents, set_points)`."""


def rehearsed_findings(documents: Documents, settings: Settings, rehearse: Rehearse) -> tuple[Finding, ...]:
    """What the rules that need a rehearsal find; nothing where an input's set points could not be settled.

    rehearse: called once. What it raises is handed on.
    """
    sources, timeline = sources_of(documents)
    if any(name not in settings.set_points for name in sources):
        return ()
    result = rehearse(documents, settings.set_points)
    bound = Bound(documents, sources, timeline, settings.set_points)
    seen = Rehearsed(bound, result.record, tuple(result.assumptions))
    found = findings_of(REHEARSED_RULES, seen, documents)
    return by_severity(override(found, documents, {rule.id for rule in REHEARSED_RULES}))
