"""A message by a command, by e-mail, by webhook. What went wrong is told without a word of what was set up or
answered: either may hold a secret.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import IO, Any

PATIENCE = 8.0
"""How long a server may take for one answer [s]."""

PORTS = {"tls": 465, "starttls": 587, "none": 25}


class NotSent(Exception):
    """It was not sent; a few words that say why."""


def by_command(given: Any, message: Mapping[str, Any]) -> None:
    """Start a program, without a shell, with the message on its standard input."""
    import subprocess

    told = f"{message['subject']}\n{message['text']}\n".encode()
    nowhere = subprocess.DEVNULL
    code = subprocess.run(list(given), input=told, check=False, stdout=nowhere, stderr=nowhere).returncode
    if code:
        raise NotSent(f"it ended with {code}")


def by_email(given: Any, message: Mapping[str, Any]) -> None:
    """Hand it to a mail server."""
    import smtplib
    import ssl
    from email.message import EmailMessage

    mail = EmailMessage()
    mail["Subject"], mail["From"], mail["To"] = message["subject"], given["from"], ", ".join(given["to"])
    mail.set_content(message["text"])
    place = given["server"], given["port"] or PORTS[given["security"]]
    context = ssl.create_default_context()
    direct = given["security"] == "tls"
    server = (
        smtplib.SMTP_SSL(*place, timeout=PATIENCE, context=context)
        if direct
        else smtplib.SMTP(*place, timeout=PATIENCE)
    )
    with server:
        if given["security"] == "starttls":
            server.starttls(context=context)
        if given["user"] is not None:
            server.login(given["user"], given["password"] or "")
        refused = server.send_message(mail)
    if refused:
        raise NotSent(f"{len(refused)} of {len(given['to'])} recipients were refused")


def by_webhook(given: Any, message: Mapping[str, Any]) -> None:
    """POST it as JSON. No redirection is followed: what authorises would go along to wherever it leads."""
    from urllib.request import HTTPRedirectHandler, Request, build_opener

    class NotElsewhere(HTTPRedirectHandler):
        # Many: of the library.
        def redirect_request(
            self, req: Request, fp: IO[bytes], code: int, msg: str, headers: Any, newurl: str
        ) -> None:
            return None

    body = {**message, "text": f"{message['subject']}\n{message['text']}"}
    headers = {"Content-Type": "application/json", **given["headers"]}
    request = Request(given["url"], json.dumps(body).encode(), headers, method="POST")
    with build_opener(NotElsewhere).open(request, timeout=PATIENCE):
        pass


WAYS = {"command": by_command, "email": by_email, "webhook": by_webhook}
"""Way -> what sends by it."""


def why(error: BaseException) -> str:
    """Why it was not sent, from numbers and the system's own words alone."""
    from smtplib import SMTPRecipientsRefused, SMTPResponseException
    from urllib.error import HTTPError, URLError

    match error:
        case NotSent():
            return str(error)
        case HTTPError():
            return f"the server answered {error.code}"
        case URLError() if isinstance(error.reason, BaseException):
            return why(error.reason)
        case SMTPRecipientsRefused():
            return "no recipient was accepted"
        case SMTPResponseException():
            return f"the server answered {error.smtp_code}"
        case TimeoutError():
            return "no answer in time"
        case OSError() if error.strerror and error.errno is not None:
            return error.strerror
    return type(error).__name__
