"""The user's file of messages: what is wrong is told in a line, without what may be secret."""

from __future__ import annotations

from pathlib import Path

import pytest

from railwright.dialects.files import USER_FOLDER
from railwright.documents.message_file import FILE, read_messages
from railwright.documents.sources import DocumentErrors

SECRET = "tide-7-secret"
MAIL = "server: mail.example.org, from: a@example.org, to: [b@example.org]"


@pytest.fixture
def file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv(USER_FOLDER, str(tmp_path))
    return tmp_path / FILE


def write(file: Path, text: str, mode: int = 0o600) -> None:
    file.write_text(text, "utf-8")
    file.chmod(mode)


def test_what_is_set_up_is_read_and_its_secrets_are_not_shown(file: Path) -> None:
    assert read_messages() is None
    write(file, f"email: {{{MAIL}, user: a, password: {SECRET}}}\nwebhook: {{url: 'https://h/{SECRET}'}}\n")
    made = read_messages()
    assert made is not None
    assert list(made.ways) == ["email", "webhook"]
    assert made.ways["email"]["from"] == "a@example.org"
    assert made.ways["email"]["password"] == SECRET
    assert made.ways["webhook"]["url"].endswith(SECRET)
    assert SECRET not in repr(made)


@pytest.mark.parametrize(
    ("text", "line", "named"),
    [
        ("", 1, "keys with values"),
        ("when: every ending\n", 1, "'command'"),
        (f"webhook:\n  url: file:///{SECRET}\n", 2, "https://"),
        (f"webhook:\n  url: 'http://[{SECRET}'\n", 2, "https://"),
        (f"email: {{{MAIL}, user: a,\n  security: none, password: {SECRET}}}\n", 2, "'starttls'"),
        (f"email: {{{MAIL},\n  pasword: {SECRET}}}\n", 2, "password"),
        ("command: [say]\nwhen: sometimes\n", 2, "'not completed'"),
    ],
)
def test_what_is_wrong_is_told_with_its_place(file: Path, text: str, line: int, named: str) -> None:
    write(file, text)
    with pytest.raises(DocumentErrors) as told:
        read_messages()
    message = str(told.value)
    assert message.startswith(f"{file}:{line}:")
    assert named in message
    assert SECRET not in message


def test_one_that_others_may_read_is_not_taken(file: Path) -> None:
    for mode, taken in ((0o600, True), (0o400, True), (0o640, False), (0o604, False)):
        write(file, "command: [say]\n", 0o600)
        file.chmod(mode)
        if taken:
            assert read_messages() is not None
        else:
            with pytest.raises(DocumentErrors, match="chmod 600"):
                read_messages()
