"""Say in one line which Python is needed, when this one is too old; runs on any Python 3."""

import sys

if sys.version_info < (3, 11):  # noqa: UP036 (this file is for the older ones)
    have = "{}.{}".format(*sys.version_info[:2])
    sys.exit("Railwright needs Python 3.11 or newer, this is " + have + "; try: make PYTHON=python3.11 ...")
