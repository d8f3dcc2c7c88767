"""Say in one line which Python is needed, when this one is too old; runs on any Python 3."""

import sys

if sys.version_info < (3, 11):
    sys.exit(
        "Railwright needs Python 3.11 or newer; this is %d.%d. Try: make PYTHON=python3.11 ..." % sys.version_info[:2]  # noqa: UP031 (must parse on any Python 3)
    )
