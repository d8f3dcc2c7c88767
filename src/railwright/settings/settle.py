"""From documents to settings: set points, the reason behind each, and the findings of every static rule."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from railwright.assumptions import Assumption
from railwright.documents.loader import Documents
from railwright.frozen import freeze
from railwright.grouping import grouped
from railwright.plan.set_points import SetPoints
from railwright.quantities import joined, state
from railwright.settings.constraints.constraint import EXACT
from railwright.settings.context import BoundDocuments, Context, locate
from railwright.settings.engine_rules import DIALECT_UNPROVED, ENGINE_RULES, UNKNOWN_FIGURE
from railwright.settings.findings import Finding, Reason, Severity
from railwright.settings.hookup import hooked_up
from railwright.settings.hookup.result import HookedUp
from railwright.settings.overrides import check_overrides, override
from railwright.settings.rule import Hit, Rule, Seen, Unknown
from railwright.settings.rules import RULES
from railwright.settings.set_points import settle_input
from railwright.settings.windows.window import End, Window, window_findings

if TYPE_CHECKING:
    from railwright.traces import Record

PROTECTED = ("current_limit", "ovp", "trip_delay", "opp")
"""Settings without which nothing is energised."""

RehearsedEnds = Mapping[tuple[str, str], End]
"""(input, setting) -> the end of its window that a rehearsal has settled."""

SETTLED = {"trip_delay": "trip-before-charged", "ovp": "ovp-below-played"}
"""Setting -> the rule of its closed form, which is dropped once a rehearsal has settled the lower end."""


@dataclass(frozen=True, slots=True)
class Settings:
    """What to dial in. set_points: of the inputs whose limits could be settled; each other input has a stop.

    windows: of each setting that has one. rises: number of a power-up -> the rate of rise that was worked out
    for it [V/s]; None: from a run of an earlier version, which has the rates in its reasons only.
    """

    set_points: SetPoints
    reasons: tuple[Reason, ...]
    findings: tuple[Finding, ...]
    windows: tuple[Window, ...] = ()
    rises: Mapping[int, float] | None = None

    def __post_init__(self) -> None:
        freeze(self, "set_points", "rises")

    @property
    def blocked(self) -> bool:
        """Whether something must not be energised."""
        return any(finding.blocks for finding in self.findings)


def findings_of(rules: Iterable[Rule[Seen]], seen: Seen, documents: Documents) -> list[Finding]:
    """The findings of these rules; a figure that several rules lack becomes one note."""
    said = [(rule, each) for rule in rules for each in rule.look(seen)]
    wanted = grouped(
        ((each.about, each.path, each.figure), each.check) for _, each in said if isinstance(each, Unknown)
    )
    hits = (
        Finding(rule.id, rule.severity, each.about, locate(documents, each.path), each.why, each.remedy)
        for rule, each in said
        if isinstance(each, Hit)
    )
    notes = (
        Finding(
            UNKNOWN_FIGURE,
            Severity.NOTE,
            about,
            locate(documents, path),
            state(
                "not checked, as {figure} is not given: {wanted}",
                figure=figure,
                wanted=joined("; ", dict.fromkeys(checks)),
            ),
            "give the figure in the document, or check it by hand",
        )
        for (about, path, figure), checks in wanted.items()
    )
    return [*hits, *notes]


def by_severity(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """Stops first, then cautions, then notes; in each, as the rules made them."""
    return tuple(sorted(findings, key=lambda finding: list(Severity).index(finding.severity)))


def settle(
    documents: Documents,
    today: dt.date,
    hooked: HookedUp | None = None,
    rehearsed: RehearsedEnds | None = None,
    *,
    provisional: bool = False,
) -> Settings:
    """Set points of every input with their reasons and windows, and what the static rules find.

    today: decides whether a calibration is overdue. hooked: the result of `hooked_up`, where it is at hand.
    Written values stay as they are; `auto` is worked out. rehearsed: ends of windows that a rehearsal has
    settled, by input and setting; without them the closed forms hold. provisional: such a rehearsal follows,
    and no rules are asked before it. Raises DocumentErrors where an override names a finding that no rule
    makes.
    """
    check_overrides(documents)
    hooked = hooked or hooked_up(documents)
    documents = hooked.documents
    sources, timeline = hooked.fed
    ends = grouped((about, (setting, end)) for (about, setting), end in (rehearsed or {}).items())
    settled = [
        settle_input(source, documents, dict(ends.get(name, ())), provisional)
        for name, source in sources.items()
    ]
    drafts = {each.feed.input: each.feed for each in settled}
    reasons = (*hooked.reasons, *(reason for each in settled for reason in each.reasons))
    windows = tuple(window for each in settled for window in each.windows)
    feeds = {name: feed for name, feed in drafts.items() if feed.has(*PROTECTED)}
    if provisional:
        return Settings(feeds, reasons, (), windows, hooked.rises)
    context = Context(documents, sources, timeline, feeds, today, drafts)
    findings = [*hooked.findings, *(finding for each in settled for finding in each.findings)]
    findings += findings_of(RULES, context, documents)
    # Where a rehearsal has settled an end, the closed form of the rule is only a bound of it.
    settled_rules = {
        (SETTLED[setting], about)
        for (about, setting), end in (rehearsed or {}).items()
        if setting in SETTLED and not end.alone and about in feeds
        if setting != "ovp" or feeds[about].ovp >= end.value * (1.0 - EXACT)
    }
    findings = [f for f in findings if (f.rule, f.about) not in settled_rules]
    findings += window_findings(windows, documents)
    # `settings.unproved` finds that one and applies its overrides: it has the proofs.
    ids = {*ENGINE_RULES, *(rule.id for rule in RULES)} - {DIALECT_UNPROVED}
    findings = override(findings, documents, ids)
    return Settings(feeds, reasons, by_severity(findings), windows, hooked.rises)


def rehearsed_findings(
    hooked: HookedUp, settings: Settings, record: Record, assumptions: Sequence[Assumption] = ()
) -> tuple[Finding, ...]:
    """Findings of the rules that need a rehearsal, of the inputs that have set points.

    The other inputs are left out of the circuit, and a note says so. record, assumptions: the rehearsal's.
    """
    from railwright.evaluation.evaluate import evaluate
    from railwright.settings.rehearsed import REHEARSED_RULES
    from railwright.settings.rehearsed.view import Rehearsed

    documents = hooked.documents
    bound = BoundDocuments(documents, *hooked.fed, settings.set_points)
    judged = evaluate(documents, settings.set_points, record).results
    found = findings_of(REHEARSED_RULES, Rehearsed(bound, record, tuple(assumptions), judged), documents)
    return by_severity(override(found, documents, {rule.id for rule in REHEARSED_RULES}))
