"""What a user set up of messages at the ending of a run: one file in the user's own folder. No document that
is handed on says where messages go.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any, Literal, Self
from urllib.parse import urlsplit

from pydantic import Field, model_validator

from railwright.dialects.files import user_folder
from railwright.documents.files import DocumentSource, content, decoded
from railwright.documents.model import Model, Text, fault
from railwright.documents.nodes import Unreadable, compose
from railwright.documents.sources import DocumentErrors, Location, Problem
from railwright.documents.translate import check

FILE = "messages.yaml"
"""In the user's folder."""


class Email(Model):
    """A mail server, and who writes to whom."""

    server: Text
    port: int | None = Field(None, ge=1, le=65535)
    security: Literal["tls", "starttls", "none"] = "starttls"
    user: Text | None = None
    password: Text | None = Field(None, repr=False)
    sender: Text = Field(alias="from")
    to: tuple[Text, ...] = Field(min_length=1)

    @model_validator(mode="after")
    def _closed(self) -> Self:
        if self.password is not None and self.security == "none":
            raise fault("expected 'tls' or 'starttls' with a password, got none; write it", "security")
        return self


class Webhook(Model):
    """An address that takes JSON by POST. What authorises stands in the address or in a header."""

    url: Text = Field(repr=False)
    headers: dict[Text, Text] = Field({}, repr=False)

    @model_validator(mode="after")
    def _over_http(self) -> Self:
        try:
            parts = urlsplit(self.url)
            usable = parts.scheme in ("http", "https") and bool(parts.hostname)
        except ValueError:
            usable = False
        if not usable:  # not repeated: it may hold a secret
            raise fault("expected an address that begins with https:// or http://; correct it", "url")
        return self


class Messages(Model):
    """By which ways, and of which endings."""

    command: tuple[Text, ...] | None = Field(None, min_length=1)
    email: Email | None = None
    webhook: Webhook | None = None
    when: Literal["every ending", "not completed"] = "every ending"

    @model_validator(mode="after")
    def _some_way(self) -> Self:
        if self.command is None and self.email is None and self.webhook is None:
            raise fault("expected one of 'command', 'email' and 'webhook', got none of them; add one")
        return self

    @property
    def ways(self) -> dict[str, Any]:
        """Way -> what is set up of it, as `railwright.messages` takes it."""
        given = self.model_dump(mode="json", by_alias=True, exclude={"when"})
        return {way: each for way, each in given.items() if each is not None}


def messages_path() -> Path:
    """Where it is; it need not be there."""
    return user_folder() / FILE


def read_messages() -> Messages | None:
    """What is set up; None where nothing is. DocumentErrors: wrong, or readable by others than its owner."""
    path = messages_path()
    if not path.exists():
        return None
    file = str(path)
    place = Location(file, 1, 1)
    try:
        raw = content(file, "file of messages", place)
        root, problems = compose(decoded(raw, file), file)
    except Unreadable as error:
        raise DocumentErrors([error.problem]) from None
    if path.stat().st_mode & 0o077:
        told = "expected a file that its owner alone may read, as it may hold a password, got one that others"
        problems = [*problems, Problem(place, f"{told} may; say chmod 600")]
    if root is None or root.kind != "mapping":
        raise DocumentErrors([*problems, Problem(place, "expected keys with values, got none; fill it in")])
    made, wrong = check(Messages, DocumentSource(file, path, raw, root, bool(problems)))
    if made is None or problems or wrong:
        raise DocumentErrors([*problems, *wrong])
    return made
