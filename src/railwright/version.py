"""The version of this program."""

__version__ = "0.1.0"

SOFTWARE = f"railwright {__version__}"
"""Name and version, as `--version` prints them and as files say what wrote them."""

TWIN_MAKER = "Railwright"
"""Who simulated instruments say that made them; no real one does."""
