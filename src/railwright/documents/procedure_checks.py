"""What a procedure says of its device and bench, and what its parts say of each other.

The checks look at what is written rather than at models, so that they also say what they can of a procedure
with other faults. Where a document is missing, what depends on its names is left out.
"""

from __future__ import annotations

from collections.abc import Iterator

from railwright.documents.files import DocumentSource
from railwright.documents.hook_up import AUTO
from railwright.documents.references import (
    Path,
    circle,
    items,
    keys,
    names,
    text,
    texts,
    twice,
    unknown,
)
from railwright.documents.sources import Problem, meant
from railwright.documents.step_checks import check_steps, inputs_in_steps
from railwright.quantities import quoted


def check_procedure(
    procedure: DocumentSource, device: DocumentSource | None, bench: DocumentSource | None
) -> list[Problem]:
    """Every problem between the three documents."""
    inputs = names(device, "inputs")
    return [
        *_hook_up(procedure, inputs, bench),
        *_multimeters(procedure, inputs, bench),
        *_limits(procedure, inputs),
        *_contacts(procedure, device, bench),
        *check_steps(procedure, inputs),
        *_stop_conditions(procedure, inputs),
        *_requirements(procedure, inputs),
    ]


def _outputs(bench: DocumentSource | None) -> list[str] | None:
    """Outputs of a bench as 'supply.output'; None where they are not known."""
    if bench is None or bench.ambiguous:
        return None
    found = [
        f"{supply}.{output}"
        for supply in keys(bench.root.get("supplies"))
        for output in keys(bench.root.get("supplies", supply, "outputs"))
    ]
    return found or None


def _every_input(
    procedure: DocumentSource, section: str, inputs: list[str] | None, what: str
) -> Iterator[Problem]:
    """A section with one entry an input: no unknown input in it, none left out."""
    node = procedure.root.get(section)
    if inputs is None or node is None or node.kind != "mapping":
        return
    written: set[str] = set()
    for name in node.entries:
        yield from unknown(procedure, (section, name), "device's inputs", inputs, key=True)
        written.add(meant(name, inputs))
    steps = range(len(items(procedure.root.get("steps"))))
    powered = {word for step in steps for _, word in texts(procedure, "steps", step, "power_up", "order")}
    for name in inputs:
        if name not in written:
            off = "" if name in powered else ", though nothing is played on it: it then stays off"
            yield Problem(
                procedure.where((section,)),
                f"expected {what} for each input, got none for '{name}'; add it{off}",
            )


def _hook_up(
    procedure: DocumentSource, inputs: list[str] | None, bench: DocumentSource | None
) -> Iterator[Problem]:
    yield from _every_input(procedure, "hook_up", inputs, "what feeds it")
    outputs = _outputs(bench)
    leads = names(bench, "leads")
    fed: list[tuple[Path, str]] = []
    for name in keys(procedure.root.get("hook_up")):
        if text(procedure.root.get("hook_up", name, "lead")) != AUTO:
            yield from unknown(procedure, ("hook_up", name, "lead"), "bench's leads", leads)
        fixtures = None if bench is None or bench.ambiguous else keys(bench.root.get("fixtures"))
        yield from unknown(procedure, ("hook_up", name, "fixture"), "bench's fixtures", fixtures)
        source: Path = ("hook_up", name, "from")
        single = text(procedure.root.get(*source))
        given = [(source, single)] if single is not None and single != AUTO else []
        given += [found for joined in ("series", "parallel") for found in texts(procedure, *source, joined)]
        for path, _ in given:
            yield from unknown(procedure, path, "bench's outputs", outputs)
        fed += given
    yield from twice(procedure, fed, "output", "an output feeds one input; use another")


def _limits(procedure: DocumentSource, inputs: list[str] | None) -> Iterator[Problem]:
    yield from _every_input(procedure, "limits", inputs, "limits")
    for name in keys(procedure.root.get("limits")):
        for key in ("trips_when", "off_after"):
            where: Path = ("limits", name, key)
            for path, other in texts(procedure, *where):
                yield from unknown(procedure, path, "device's inputs", inputs)
                if other == name:
                    yield Problem(
                        procedure.where(path),
                        f"expected other inputs in '{key}', got '{name}' itself; remove it",
                    )
            yield from twice(procedure, texts(procedure, *where), "input", "remove one of them")
    yield from _off_in_a_circle(procedure)


def _off_in_a_circle(procedure: DocumentSource) -> Iterator[Problem]:
    """Inputs that wait for each other to be off: told once, at the entry that closes the circle."""
    after: dict[str, list[str]] = {}
    for name in keys(procedure.root.get("limits")):
        for path, other in texts(procedure, "limits", name, "off_after"):
            if other == name:
                continue  # told above
            after.setdefault(name, []).append(other)
            if around := circle(after):
                got = " after ".join(quoted(each) for each in reversed(around))
                yield Problem(
                    procedure.where(path),
                    f"expected an order of switching off, got a circle: {got}; remove an entry",
                )
                return


def _stop_conditions(procedure: DocumentSource, inputs: list[str] | None) -> Iterator[Problem]:
    conditions = items(procedure.root.get("stop_when"))
    on = inputs_in_steps(procedure, inputs) if any(each.child("during") for each in conditions) else {}
    for number, condition in enumerate(conditions):
        place: Path = ("stop_when", number)
        yield from unknown(procedure, (*place, "input"), "device's inputs", inputs)
        during, name = text(condition.child("during")), text(condition.child("input"))
        if during is None:
            continue
        yield from unknown(
            procedure, (*place, "during"), "names of steps", None if procedure.ambiguous else on
        )
        yield from _unpowered(procedure, place, name, on.get(during), inputs)


def _unpowered(
    procedure: DocumentSource, place: Path, name: str | None, on: set[str] | None, inputs: list[str] | None
) -> Iterator[Problem]:
    """A problem where an input is powered in no part of the step that is named under 'during'.

    on: inputs that are powered in it; None: there is no such step.
    """
    if name is not None and on is not None and (inputs is None or name in inputs) and name not in on:
        during = text(procedure.root.get(*place, "during"))
        yield Problem(
            procedure.where((*place, "during")),
            f"expected a step in which '{name}' is powered, got '{during}'; name another step",
        )


def _multimeters(
    procedure: DocumentSource, inputs: list[str] | None, bench: DocumentSource | None
) -> Iterator[Problem]:
    known = None if bench is None or bench.ambiguous else keys(bench.root.get("multimeters"))
    for name in keys(procedure.root.get("multimeters")):
        yield from unknown(procedure, ("multimeters", name), "bench's multimeters", known, key=True)
        yield from unknown(procedure, ("multimeters", name, "of"), "device's inputs", inputs)


def _contacts(
    procedure: DocumentSource, device: DocumentSource | None, bench: DocumentSource | None
) -> Iterator[Problem]:
    """Contacts that steps move are of the bench, and lie in the lead of one input or drive one pin."""
    known = None if bench is None or bench.ambiguous else dict[str, str]()
    for instrument in keys(bench.root.get("relays")) if bench is not None and known is not None else ():
        assert bench is not None
        assert known is not None
        for name in keys(bench.root.get("relays", instrument, "contacts")):
            known[name] = text(bench.root.get("relays", instrument, "contacts", name, "fixture")) or ""
    used: list[tuple[Path, str]] = [
        (("hook_up", name, "fixture"), fixture)
        for name in keys(procedure.root.get("hook_up"))
        if (fixture := text(procedure.root.get("hook_up", name, "fixture"))) is not None
    ]
    moved = [each for each in used if each[1] in (known or {}).values()]
    yield from twice(procedure, moved, "fixture that a relay switches", "its contact lies in one lead")
    pins = None if device is None or device.ambiguous else keys(device.root.get("pins"))
    drivers: list[tuple[Path, str]] = []
    for pin in keys(procedure.root.get("pins")):
        yield from unknown(procedure, ("pins", pin), "device's pins", pins, key=True)
        where: Path = ("pins", pin, "from")
        yield from unknown(procedure, where, "bench's contacts", known)
        driver = text(procedure.root.get(*where))
        drivers += [(where, driver)] if driver is not None else []
        if known is not None and driver is not None and known.get(driver):
            yield Problem(
                procedure.where(where),
                f"expected a contact that drives a pin, got {quoted(driver)}, the switch of fixture "
                f"{quoted(known[driver])}; take another, or write 'closed' instead of 'fixture' there",
            )
    yield from twice(procedure, drivers, "contact", "it drives one pin; take another")
    for number in range(len(items(procedure.root.get("steps")))):
        for key in ("close", "open"):
            place: Path = ("steps", number, "relays", key)
            yield from twice(procedure, texts(procedure, *place), "contact of a step", "remove one of them")
            for path, name in texts(procedure, *place):
                yield from unknown(procedure, path, "bench's contacts", known)
                if known is None or name not in known or name in {each for _, each in drivers}:
                    continue
                if not known[name]:
                    yield Problem(
                        procedure.where(path),
                        f"expected a contact that drives a pin, got {quoted(name)}, which drives none here; "
                        "add the pin under 'pins'",
                    )
                elif known[name] not in {each for _, each in used}:
                    yield Problem(
                        procedure.where(path),
                        f"expected a contact in the lead of an input, got {quoted(name)}: no input is hooked "
                        f"up with its fixture {quoted(known[name])}; add it under 'hook_up'",
                    )


def _requirements(procedure: DocumentSource, inputs: list[str] | None) -> Iterator[Problem]:
    requires = items(procedure.root.get("requires"))
    steps = items(procedure.root.get("steps"))
    named = {name: step for step in steps if (name := text(step.child("name"))) is not None}
    on = inputs_in_steps(procedure, inputs)
    for number, requirement in enumerate(requires):
        place: Path = ("requires", number)
        yield from unknown(procedure, (*place, "of"), "device's inputs", inputs)
        sure = None if procedure.ambiguous else named
        yield from unknown(procedure, (*place, "during"), "names of steps", sure)
        during, of = text(requirement.child("during")), text(requirement.child("of"))
        if during not in named:
            continue
        yield from _unpowered(procedure, place, of, on[during], inputs)
        if requirement.child("each_point") is not None and named[during].child("sweep") is None:
            yield Problem(
                procedure.where((*place, "each_point")),
                f"expected 'each_point' for a sweep only, got it for '{during}'; remove it",
            )
    titles: list[tuple[Path, str]] = [
        (("requires", number, "name"), name)
        for number, requirement in enumerate(requires)
        if (name := text(requirement.child("name"))) is not None
    ]
    yield from twice(procedure, titles, "name of a requirement", "rename one of them")
