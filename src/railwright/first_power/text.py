"""A first power-up as a procedure document that a person can read and change, its reasons as comments."""

from __future__ import annotations

import json
import re
import textwrap
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from railwright.documents.hook_up import HookUp
from railwright.documents.procedure import DrivenPin
from railwright.first_power.conditions import Watched
from railwright.first_power.steps import ALL_ON, CONTACTS, SETTLE, PlainStep
from railwright.quantities import show

_PLAIN = re.compile(r"(?:\.\./)*[\w+\-](?:[\w +\-./]*[\w+\-./])?")
_SAID = re.compile(r"(?:true|false|yes|no|on|off|null|~|[\d.+\-]+)", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class LimitsOf:
    """Limits of one input [A, s, V]; delay None: it regulates. Each why: for people; empty: none given."""

    current: float
    delay: float | None
    ovp: float
    why_current: str = ""
    why_delay: str = ""
    why_ovp: str = ""


@dataclass(frozen=True)
class Draft:
    """Everything that one procedure document says, SI units. remarks: comments at its head. down: the order
    in which inputs go off. beside: input -> what else its limits say, line by line. pins: what drives each of
    the device's. contacts: those to be moved before anything is on, and whether they close; within `moving`.
    """

    title: str
    device: str
    bench: str
    hook_up: Mapping[str, HookUp]
    limits: Mapping[str, LimitsOf]
    order: tuple[str, ...]
    down: tuple[str, ...]
    gap: float
    steps: tuple[PlainStep, ...]
    every: float
    remarks: tuple[str, ...] = ()
    reasons: Mapping[str, str] | None = None
    watched: tuple[Watched, ...] = ()
    trips: tuple[tuple[str, str, str], ...] = ()
    overrides: tuple[tuple[str, str, str], ...] = ()
    beside: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    pins: Mapping[str, DrivenPin] = field(default_factory=dict)
    contacts: Mapping[str, bool] = field(default_factory=dict)
    moving: float = 0.0


def as_text(draft: Draft) -> str:
    """The procedure document."""
    lines = [*_comment(*draft.remarks), f"procedure: {quote(draft.title)}"]
    lines += [f"device: {quote(draft.device)}", f"bench: {quote(draft.bench)}", "", "hook_up:"]
    for name, hook_up in draft.hook_up.items():
        lines.append(f"  {quote(name)}: {_hook_up(hook_up)}")
    if draft.pins:
        lines += ["", "pins:"]
        lines += [
            f"  {quote(pin)}: {{from: {quote(driven.source)}, starts: {driven.starts}}}"
            for pin, driven in draft.pins.items()
        ]
    lines += ["", "limits:"]
    for name, limits in draft.limits.items():
        lines += [f"  {quote(name)}:", *_limits(limits)]
        lines += [f"    {line}" for line in draft.beside.get(name, ())]
    lines += ["", "steps:", *_steps(draft)]
    if draft.watched or draft.trips:
        lines += ["", "stop_when:", *_stops(draft)]
    lines += ["", f"record: {{every: {show(draft.every, 's')}}}"]
    if draft.overrides:
        lines += ["", "overrides:"]
        for rule, about, because in draft.overrides:
            lines.append(f"  - {{finding: {rule}, about: {quote(about)}, because: {quote(because)}}}")
    return "\n".join(lines) + "\n"


def listed(names: Iterable[str]) -> str:
    """Names as a list of YAML."""
    return f"[{', '.join(map(quote, names))}]"


def quote(text: str) -> str:
    """A scalar of YAML: as it is where nothing could be misread, else in double quotes."""
    if _PLAIN.fullmatch(text) and not (_SAID.fullmatch(text) or text.startswith("- ") or "  " in text):
        return text
    return json.dumps(text, ensure_ascii=False)


def _comment(*paragraphs: str, indent: str = "") -> list[str]:
    return [
        f"{indent}# {line}"
        for paragraph in paragraphs
        for line in textwrap.wrap(paragraph, 100 - len(indent), break_on_hyphens=False)
    ]


def _hook_up(hook_up: HookUp) -> str:
    outputs = listed(hook_up.outputs)
    source = (
        quote(hook_up.outputs[0])
        if hook_up.arrangement == "alone"
        else f"{{{hook_up.arrangement}: {outputs}}}"
    )
    parts = [f"from: {source}", f"lead: {quote(hook_up.lead)}"]
    if hook_up.fixture is not None:
        parts.append(f"fixture: {quote(hook_up.fixture)}")
    return f"{{{', '.join([*parts, f'sense: {hook_up.sense}'])}}}"


def _limits(limits: LimitsOf) -> list[str]:
    given = [(f"current_limit: {show(limits.current, 'A')}", limits.why_current)]
    given.append((f"at_limit: {'regulate' if limits.delay is None else 'trip'}", ""))
    if limits.delay is not None:
        given.append((f"trip_delay: {show(limits.delay, 's')}", limits.why_delay))
    given.append((f"ovp: {show(limits.ovp, 'V')}", limits.why_ovp))
    return [
        line
        for text, why in given
        for line in [*(_comment(why, indent="    ") if why else []), f"    {text}"]
    ]


def _steps(draft: Draft) -> list[str]:
    zeros = ", ".join(f"{quote(name)}: 0 V" for name in draft.order)
    order = ", ".join(map(quote, draft.order))
    down = ", ".join(map(quote, draft.down))
    lines = [
        *_contacts(draft),
        f"  - power_up: {{order: [{order}], gap: {show(draft.gap, 's')}, voltages: {{{zeros}}}, "
        f"settle: {show(SETTLE, 's')}}}",
        f"    name: {ALL_ON}",
    ]
    for step in draft.steps:
        why = (draft.reasons or {}).get(step.name, "")
        lines += _comment(why, indent="  ") if why else []
        if step.kind == "ramp":
            over = show(step.duration, "s")
            segments = f"[{{line_to: {show(step.stop, 'V')}, over: {over}}}]"
            lines.append(f"  - shape: {{input: {quote(step.input)}, segments: {segments}}}")
        else:
            lines.append(f"  - hold: {show(step.duration, 's')}")
        lines.append(f"    name: {quote(step.name)}")
    return [*lines, f"  - power_down: {{order: [{down}], gap: {show(draft.gap, 's')}}}"]


def _contacts(draft: Draft) -> list[str]:
    """The step that moves contacts before anything is on; empty: none has to be."""
    moves = {
        key: [name for name, closes in draft.contacts.items() if closes == wanted]
        for key, wanted in (("open", False), ("close", True))
    }
    told = ", ".join(f"{key}: {listed(names)}" for key, names in moves.items() if names)
    if not told:
        return []
    return [f"  - relays: {{{told}, settle: {show(draft.moving, 's')}}}", f"    name: {CONTACTS}"]


def _stops(draft: Draft) -> Iterable[str]:
    for name, trip, likely in draft.trips:
        yield f"  - {{input: {quote(name)}, trips: {trip}, likely: {quote(likely)}}}"
    for watched in draft.watched:
        yield from _comment(f"{watched.step}, {watched.input}: {watched.expected}", indent="  ")
        for each in watched.conditions:
            yield (
                f"  - {{input: {quote(each.input)}, during: {quote(each.during)}, "
                f"{each.kind}: {show(each.value, each.unit, 3)}, for: {show(each.duration, 's')},"
            )
            yield f"     likely: {quote(each.likely)}}}"


def names_listed(names: Sequence[str]) -> str:
    """'a, b and c'."""
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
