"""Compiled functions as Python can call them: the package itself calls them from compiled code alone."""

from typing import Any

import numba


def from_python(function: Any) -> Any:
    """The same function with a way in from Python.

    Without counting of references, as in the package: who counts would let go of what it was never given.
    """
    return numba.njit(error_model="numpy", _nrt=False)(function.py_func)
