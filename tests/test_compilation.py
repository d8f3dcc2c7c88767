"""What Railwright asks of numba beyond its documented decorator: one test a trick, in the smallest way.

Each says what an upgrade of numba broke. `railwright.compilation` is the one place to mend it.
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, NamedTuple

import numba
import numpy as np
import pytest
from numba.core import config

from railwright import compilation
from railwright.compilation import (
    FLOAT,
    GIVEN,
    INTEGER,
    INTEGERS,
    VECTOR,
    compile_kept,
    compiled,
    fields,
    inlined,
    with_callees,
    with_way_in,
)
from railwright.compiled_cache import announce

ROOT = Path(__file__).parents[1]


@pytest.fixture(autouse=True)
def _cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("RAILWRIGHT_CACHE", str(tmp_path / "cache"))


def entry(*takes: Any) -> Callable[[Any], Any]:
    """An entry of these tests."""
    return lambda function: compile_kept(function, takes, "of-a-test", [])


def code_of(function: Any) -> str:
    """What numba made of the only signature of a function, for LLVM."""
    (code,) = function.inspect_llvm().values()
    return str(code)


@compiled
def doubled(x):
    return 2.0 * x


@inlined
def tripled(x):
    return 3.0 * x


@compiled
def rest(a):
    return 1, a[1:]


@compiled
def last_of_rest(a):
    _, b = rest(a)
    return b[b.shape[0] - 1]


def test_an_inner_function_is_called_from_compiled_code() -> None:
    total = entry(FLOAT)(lambda x: doubled(x) + tripled(x))
    assert total(1.5) == 7.5, "numba does not call a dispatcher of another class any more (compilation._as)"


@pytest.mark.parametrize("inner", [doubled, tripled])
def test_an_inner_function_raises_where_python_calls_it(inner: Any) -> None:
    entry(FLOAT)(lambda x: doubled(x) + tripled(x))(1.0)
    for given in ((1.0,), (np.zeros(3),), (None,), (), (1.0, 2.0)):
        with pytest.raises(TypeError, match=rf"{inner.__name__} is called from compiled"):
            inner(*given)
    assert inner.py_func(2.0) in (4.0, 6.0)


def test_an_inner_function_counts_no_references_and_has_no_way_in() -> None:
    total = entry(VECTOR)(lambda a: last_of_rest(a))
    assert total(np.array([1.0, 5.0])) == 5.0
    code = code_of(last_of_rest)
    assert "NRT_incref" not in code, "numba: option '_nrt' does not stop the counting of references any more"
    assert "cpython" not in code, "numba: option 'no_cpython_wrapper' is without effect"
    assert "cfunc." not in code, "numba: option 'no_cfunc_wrapper' is without effect"
    # The same is seen where they are left out, so that the names above are those that numba uses.
    (plain := numba.njit(lambda a: (1, a[1:])))(np.ones(3))
    assert {"NRT_incref", "cpython", "cfunc."} <= {word for word in SEEN if word in code_of(plain)}, (
        "numba names its counting of references or its ways in otherwise: look for the new names here"
    )


SEEN = ("NRT_incref", "cpython", "cfunc.")


LINES = "\n".join(f"    x += {number}.5 / (x * x + {number}.25)" for number in range(200))
NAMES: dict[str, Any] = {}
exec(f"def large(x):\n{LINES}\n    return x", NAMES)


@pytest.mark.parametrize(("how", "is_called"), [(compiled, True), (inlined, False)])
def test_an_inlined_function_is_put_in_where_it_is_called(how: Any, is_called: bool) -> None:
    """One so large that LLVM itself calls it from two places."""
    large = how(NAMES["large"])

    @compiled
    def twice(x):
        return large(x) + large(x + 1.0)

    entry(FLOAT)(lambda x: twice(x))(1.0)
    calls = [line for line in code_of(twice).splitlines() if re.search(r"\bcall\b.*large", line)]
    assert bool(calls) is is_called, "numba: option 'forceinline' is without effect"


def test_division_by_zero_gives_infinity() -> None:
    @compiled
    def reciprocal(x):
        return 1.0 / x

    said = "numba: error_model 'numpy' is without effect"
    assert entry(FLOAT)(lambda x: 1.0 / x)(0.0) == np.inf, said
    # An inner function has it of its own, not from whoever calls it.
    assert numba.njit(lambda x: reciprocal(x))(0.0) == np.inf, said


def test_an_entry_that_is_given_an_array_by_an_inner_function_is_not_compiled() -> None:
    wrong = entry(VECTOR)(lambda a: rest(a)[1][0])
    with pytest.raises(numba.TypingError, match="rest returns an array"):
        wrong(np.ones(3))
    good = entry(VECTOR)(lambda a: last_of_rest(a))
    given = np.ones(3)
    before = sys.getrefcount(given)
    assert [good(given) for _ in range(3)] == [1.0] * 3
    assert sys.getrefcount(given) == before, "numba lets go of an array that it was not given (_nrt)"


class Pair(NamedTuple):
    one: Any
    two: Any


@pytest.fixture(scope="module")
def picked(tmp_path_factory: pytest.TempPathFactory) -> Any:
    """An entry that takes a scalar, an array that it only reads, a NamedTuple of two, and a place."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("RAILWRIGHT_CACHE", str(tmp_path_factory.mktemp("cache")))

        @entry(FLOAT, GIVEN, fields(Pair, VECTOR, INTEGERS), INTEGER)
        def pick(scale, values, pair, place):
            return scale * (values[place] + pair.one[place] + pair.two[place])

        return pick


def given(**changed: Any) -> tuple[Any, ...]:
    ones, places = np.ones(3), np.arange(3)
    return tuple({"scale": 2.0, "values": ones, "pair": Pair(ones, places), "place": 2, **changed}.values())


def test_an_entry_takes_what_it_declares_and_has_one_signature(picked: Any) -> None:
    only_read = np.ones(3)
    only_read.flags.writeable = False
    for arguments in (given(), given(scale=2), given(values=only_read), given(place=np.int64(2))):
        assert picked(*arguments) == 8.0
    assert len(picked.signatures) == 1, "numba: disable_compile does not hold an entry to its signature"


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"values": None}, "pick: expected values as .*float64.*got none"),
        ({"values": np.ones(3, np.float32)}, "pick: expected values as .*got array.float32"),
        ({"values": np.ones((3, 3))}, "pick: expected values as .*got array.float64, 2d"),
        ({"values": np.ones(6)[::2]}, "pick: expected values as .*got array.float64, 1d, A"),
        ({"values": [1.0, 2.0, 3.0]}, "pick: expected values"),
        ({"values": object()}, "pick: expected values as .*got object"),
        ({"scale": "2"}, "pick: expected scale as float64, got unicode_type"),
        ({"pair": (np.ones(3), np.arange(3))}, "pick: expected pair as Pair"),
        ({"pair": Pair(np.ones(3), np.ones(3))}, "pick: expected pair.two as array.int64"),
    ],
)
def test_an_entry_says_which_argument_is_of_another_type(picked: Any, changed: Any, said: str) -> None:
    with pytest.raises(TypeError, match=said):
        picked(*given(**changed))


def test_an_entry_says_that_arguments_are_too_few(picked: Any) -> None:
    with pytest.raises(TypeError, match=r"pick: .*expected 4, got 2"):
        picked(1.0, np.ones(3))


def test_what_an_entry_raises_itself_comes_through() -> None:
    @compiled
    def check(a):
        if a.shape[0] < 2:
            raise ValueError("a: two rows at least")

    @entry(VECTOR)
    def second(a):
        check(a)
        return a[1]

    assert second(np.arange(3.0)) == 1.0
    with pytest.raises(ValueError, match="two rows"):
        second(np.zeros(1))


def test_several_threads_may_make_the_first_call() -> None:
    one = entry(FLOAT)(lambda x: doubled(x) + 1.0)
    found: list[object] = []
    threads = [threading.Thread(target=lambda: found.append(one(2.0))) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert found == [5.0] * 4, "numba's lock does not let one thread compile for all (global_compiler_lock)"


def test_an_entry_releases_the_interpreters_lock() -> None:
    one = entry(FLOAT)(lambda x: doubled(x))
    one(1.0)
    assert "PyEval_SaveThread" in code_of(one), "numba: option 'nogil' is without effect"


def test_an_entry_is_kept_in_the_folder_that_its_sources_name(tmp_path: Path) -> None:
    before = config.CACHE_DIR
    one = entry(FLOAT)(lambda x: doubled(x) + 3.0)
    assert one(1.0) == 5.0
    kept = list((tmp_path / "cache" / "of-a-test").rglob("*.nbi"))
    assert len(kept) == 1, "numba does not read config.CACHE_DIR any more when a function is decorated"
    assert before == config.CACHE_DIR


@pytest.fixture
def heard() -> Iterator[list[str]]:
    lines: list[str] = []
    announce(lines.append)
    yield lines
    announce(None)


def test_an_entry_that_is_kept_is_loaded_without_the_compiler(tmp_path: Path) -> None:
    """A second process gives the same result, and has not imported what numba compiles with."""
    program = """
import sys
from pathlib import Path
from railwright.compilation import FLOAT, compile_kept

def scaled(value):
    return 2.0 * value

entry = compile_kept(scaled, (FLOAT,), "kept", [Path(__file__)])
print(entry(21.0), "numba.np.npyimpl" in sys.modules, sum(entry.stats.cache_hits.values()))
"""
    script = tmp_path / "program.py"
    script.write_text(program, "utf-8")
    environment = {**os.environ, "RAILWRIGHT_CACHE": str(tmp_path / "cache")}
    command = [sys.executable, str(script)]
    told = [
        subprocess.run(command, env=environment, capture_output=True, text=True, check=True).stdout.split()
        for _ in range(2)
    ]
    assert told == [["42.0", "True", "0"], ["42.0", "False", "1"]]


def test_numba_tells_when_it_compiles(heard: list[str]) -> None:
    one = compile_kept(lambda x: doubled(x) + 4.0, [FLOAT], "of-a-test", [], seconds=7.0)
    assert one(1.0) == 6.0
    assert heard == ["compiling once, about 7 s"], "numba's event 'numba:compile' does not come any more"


def helper(x):
    return x + 1.0


def calls_helper(x):
    return 2.0 * helper(x)


def test_plain_functions_of_one_module_are_compiled_together() -> None:
    made = with_callees(calls_helper, compiled)
    assert entry(FLOAT)(lambda x: made(x))(1.0) == 4.0, "numba does not take callees from a copy's globals"
    assert with_callees(calls_helper, compiled) is made


def test_an_inner_function_can_be_given_a_way_in() -> None:
    @compiled
    def at(a, i):
        return a[i]

    callable_at = with_way_in(at)
    assert callable_at(np.arange(3.0), 2) == 2.0
    with pytest.raises(IndexError):
        callable_at(np.arange(3.0), 3)


def python(code: str, **environment: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-c", code],
        env={**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, sys.path)), **environment},
        capture_output=True,
        text=True,
        check=False,
    )


def test_numba_is_loaded_without_linear_algebra() -> None:
    code = "import sys, numba, numpy, railwright.compilation\nnumba.njit(lambda a: a[0])(numpy.ones(2))\n"
    done = python(f"{code}print({compilation.BLAS!r} in sys.modules)")
    assert done.stdout == "False\n", (
        f"numba imports {compilation.BLAS} another way: {done.stdout}{done.stderr}"
    )
    done = python(f"import railwright.compilation, {compilation.BLAS}; print('there')")
    assert done.stdout == "there\n", "it cannot be imported afterwards"


def test_without_compilation_everything_is_plain_python() -> None:
    code = (
        "from railwright.compilation import FLOAT, compile_kept, compiled\n"
        "double = compiled(lambda x: 2 * x)\n"
        "print(compile_kept(lambda x: double(x) + 1, [FLOAT], 'of-a-test', [])(2))"
    )
    done = python(code, NUMBA_DISABLE_JIT="1")
    assert done.stdout == "5\n", done.stderr


def test_no_other_file_asks_anything_of_numba() -> None:
    files = (ROOT / "src").rglob("*.py")
    found = [path.name for path in files if re.search(r"(import|from) numba\b", path.read_text("utf-8"))]
    assert found == ["compilation.py"]
