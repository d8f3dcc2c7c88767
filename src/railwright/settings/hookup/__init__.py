"""Hook-up `auto`: which outputs feed which input, alone, in series or in parallel, and why.

`hooked_up` gives documents whose hook-up is written out, so that nothing after it knows of `auto`. Where no
hook-up is `auto` nothing is loaded and nothing changes.
"""

from __future__ import annotations

from railwright.documents.loader import Documents
from railwright.plan.set_points import SetPoints
from railwright.settings.group import hook_up_of
from railwright.settings.hookup.result import HookedUp


def hooked_up(documents: Documents) -> HookedUp:
    """Work out what is `auto` in the hook-up, and then every rise that is."""
    rises = documents.procedure.auto_rises
    if not rises:
        return _hooked_up(documents)
    from railwright.settings.windows.auto_rise import risen, with_rises

    # What is worked out before the rates knows of none.
    return risen(_hooked_up(with_rises(documents, dict.fromkeys(rises))), rises)


def _hooked_up(documents: Documents) -> HookedUp:
    if not any(each.auto for each in documents.procedure.hook_up.values()):
        return HookedUp(documents)
    # Solving needs numpy and scipy, which a check of written hook-ups does without.
    from railwright.settings.hookup.resolve import resolve

    return resolve(documents)


def as_run(documents: Documents, set_points: SetPoints) -> Documents:
    """Documents with the hook-up that a run was done with, where they say `auto`; KeyError where the run did
    not have the input.
    """
    given = documents.procedure.hook_up
    if not any(each.auto for each in given.values()):
        return documents
    fed = {name: set_points[name] for name, each in given.items() if each.auto}
    written = {
        name: hook_up_of(feed.names, feed.arrangement, feed.lead, feed.fixture, feed.sense)
        for name, feed in fed.items()
    }
    return documents.with_procedure(hook_up={**given, **written})
