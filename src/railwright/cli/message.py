"""`railwright message`: whether what is told at the ending of a run would arrive."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from railwright.cli.arguments import Quiet
from railwright.cli.exits import BadInput, Exit, complain, say

if TYPE_CHECKING:
    from railwright.messages.messenger import Messenger


def message(quiet: Quiet = False) -> Exit:
    """Send a test message by every way that you have set up.

    A run tells how it ended by a command, by e-mail or by webhook, where the file 'messages.yaml' in your own
    folder says so. Exit code 1: it was not sent by one of them.
    """
    from railwright.documents.message_file import messages_path, read_messages
    from railwright.messages.messenger import Messenger

    settings = read_messages()
    if settings is None:
        told = "expected a file with 'command', 'email' or 'webhook', got none; write one"
        raise BadInput(f"{messages_path()}:1:1: {told} (docs/how-to.md, 'Be told how a run ended')")
    text = "This is a test. Nothing was run."
    sent = say_what_came(Messenger(settings.ways), {"subject": "railwright: test", "text": text}, quiet)
    return Exit.DONE if sent else Exit.FAILED


def say_what_came(messenger: Messenger, told: Mapping[str, object], quiet: bool = False) -> bool:
    """Have it sent, and say in one line what came of it; whether it was sent by every way."""
    from railwright.messages.messenger import outcome_line

    found = messenger.tell(told)
    sent = not any(found.values())
    if not sent:
        complain(f"caution: {outcome_line(found)}")
    elif not quiet:
        say(outcome_line(found))
    return sent
