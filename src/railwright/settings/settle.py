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
"""Setting -> the rule whose closed form gives way to the end that a rehearsal has settled."""


@dataclass(frozen=True, slots=True)
class Settings:
    """What to dial in. `set_points`: the inputs whose limits could be settled; the others have a stop.

    windows: of each setting of each input, where it is worked out. rises: number of a power-up -> the rate of
    rise that was worked out for it [V/s]; None: a run of an earlier version, which kept it with its reason.
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
    """What the rules have to say, one note for each unknown figure however many rules wanted it."""
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

    today: decides whether a calibration is overdue. hooked: what `hooked_up` made of the documents, where
    that was done before. Asked values stay as they are asked; `auto` is worked out. rehearsed: ends of
    windows that a rehearsal has settled, by input and setting; left out: closed forms alone. provisional:
    such a rehearsal follows, and no findings are wanted before it. Raises DocumentErrors where an override
    names a finding that no rule makes.
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
    # What a rehearsal has settled, the closed form of a rule only bounds.
    settled_rules = {
        (SETTLED[setting], about)
        for (about, setting), end in (rehearsed or {}).items()
        if setting in SETTLED and not end.alone and about in feeds
        if setting != "ovp" or feeds[about].ovp >= end.value * (1.0 - EXACT)
    }
    findings = [f for f in findings if (f.rule, f.about) not in settled_rules]
    findings += window_findings(windows, documents)
    # That one is found, and accepted, apart: it needs what was proved.
    ids = {*ENGINE_RULES, *(rule.id for rule in RULES)} - {DIALECT_UNPROVED}
    findings = override(findings, documents, ids)
    return Settings(feeds, reasons, by_severity(findings), windows, hooked.rises)


def rehearsed_findings(
    hooked: HookedUp, settings: Settings, record: Record, assumptions: Sequence[Assumption] = ()
) -> tuple[Finding, ...]:
    """What the rules that need a rehearsal find, of the inputs whose set points could be settled.

    The others are left out of the circuit, and a note says so. record, assumptions: the rehearsal's.
    """
    from railwright.evaluation.evaluate import evaluate
    from railwright.settings.rehearsed import REHEARSED_RULES
    from railwright.settings.rehearsed.view import Rehearsed

    documents = hooked.documents
    bound = BoundDocuments(documents, *hooked.fed, settings.set_points)
    judged = evaluate(documents, settings.set_points, record).results
    found = findings_of(REHEARSED_RULES, Rehearsed(bound, record, tuple(assumptions), judged), documents)
    return by_severity(override(found, documents, {rule.id for rule in REHEARSED_RULES}))
