"""The application with all of its commands."""

from railwright.cli.commands import application

app = application()
