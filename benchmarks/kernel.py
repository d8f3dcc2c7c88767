"""One step of the solver (right-hand side, Jacobian, linear solves) as numba compiles it, against C.

The demo's main input in its current limit: a capacitor and a converter, sensed at the load. The same step
stands in `kernel.c`, written by hand, compiled with `gcc -O3`; both must give the same numbers to 1e-9. Each
time is the best of several runs of many steps, ours and C's in turn. The last line is the ratio.

    python -m benchmarks.kernel
"""

from __future__ import annotations

import ctypes
import subprocess
import tempfile
import time
from pathlib import Path
from typing import Any

import numpy as np
from benchmarks.rehearsal import PROCEDURE, main_circuit, started
from numpy.typing import NDArray

from railwright.compilation import FLOAT, INTEGER, VECTOR
from railwright.documents.loader import load_documents
from railwright.physics import layout, rosenbrock
from railwright.physics.arrays import SYSTEM, WORK
from railwright.physics.compiled import compiled_entry
from railwright.physics.dispatch import COMPILED_KINDS
from railwright.physics.equations import jacobian, rhs

Array = NDArray[np.float64]
rodas_step = rosenbrock.make_step(rhs)
STEPS, REPEATS, H, AT = 20_000, 15, 2e-6, 8e-3
CONVERTER_PARAMETERS = 5
"""The C converter knows no limit of its own input current: those parameters are cut off."""


@compiled_entry(INTEGER, FLOAT, VECTOR, FLOAT, SYSTEM, WORK)
def many_steps(count: int, t: float, y: Array, h: float, system: Any, work: Any) -> None:
    """As often as asked, the same step from (t, y) into work.new."""
    for _ in range(count):
        rhs(t, y, work.f0, system)
        jacobian(t, y, work.jacobian, work.slope, system)
        rodas_step(
            t, y, h, work.f0, work.slope, work.jacobian, system, work.k, work.lu, work.pivots, work.new
        )


class System(ctypes.Structure):
    """What the C side calls System."""

    _fields_ = (
        *((name, ctypes.c_void_p) for name in ("fixed", "settings", "branch")),
        ("loads", ctypes.c_int64),
        *((name, ctypes.c_void_p) for name in ("at", "parameters", "flags")),
    )


def in_c(folder: Path) -> Any:
    """The C kernel, compiled."""
    library = folder / "kernel.so"
    source = Path(__file__).with_name("kernel.c")
    subprocess.run(["gcc", "-O3", "-shared", "-fPIC", "-o", library, source, "-lm"], check=True)
    loaded = ctypes.CDLL(str(library))
    double, integer, pointer = ctypes.c_double, ctypes.c_int64, ctypes.c_void_p
    loaded.many_steps.argtypes = [
        integer, double, pointer, double, ctypes.POINTER(System), integer, *[pointer] * 5
    ]  # fmt: skip
    loaded.many_steps.restype = None
    return loaded.many_steps


def timed(function: Any, *arguments: Any) -> float:
    """Time of one step [s]."""
    begin = time.perf_counter()
    function(*arguments)
    return (time.perf_counter() - begin) / STEPS


def main() -> None:
    """Measure and print."""
    simulation = started(main_circuit(load_documents(PROCEDURE)))
    simulation.advance(AT)
    player, _ = simulation.player("main")
    system, y, work = player.system, player.y.copy(), player.work
    names = [COMPILED_KINDS[kind] for kind in system.loads[:-1, layout.KIND]]
    assert names == ["capacitor", "converter"], names
    keep = np.r_[: system.loads[1, layout.PARAMETER_AT] + CONVERTER_PARAMETERS]
    own: dict[str, Array | NDArray[np.int64]] = {
        "fixed": system.fixed[0].copy(),
        "settings": system.settings[0].copy(),
        "branch": system.branch.copy(),
        "at": system.loads.copy(),
        "parameters": system.parameters[keep].copy(),
        "flags": system.flags.copy(),
    }
    own["at"][:-1, layout.KIND] = range(len(names))
    theirs = System(**{name: array.ctypes.data for name, array in own.items()}, loads=len(names))
    coefficients = [
        np.ascontiguousarray(a, dtype=np.float64)
        for a in (rosenbrock.A, rosenbrock.C, rosenbrock.T, rosenbrock.D)
    ]
    new = np.zeros_like(y)
    assert system.settings[0, layout.ON] == 1.0
    with tempfile.TemporaryDirectory() as folder:
        c_steps = in_c(Path(folder))
        c_arguments = (
            STEPS, AT, y.ctypes.data, H, ctypes.byref(theirs), y.size,
            *(a.ctypes.data for a in coefficients), new.ctypes.data,
        )  # fmt: skip
        many_steps(1, AT, y, H, system, work)
        c_steps(1, *c_arguments[1:])
        assert np.allclose(work.new, new, rtol=1e-9, atol=1e-12), (work.new, new)
        ours, c = [], []
        for _ in range(REPEATS):
            ours.append(timed(many_steps, STEPS, AT, y, H, system, work))
            c.append(timed(c_steps, *c_arguments))
    print(f"ours: {min(ours) * 1e9:.0f} ns a step of {y.size} states, C: {min(c) * 1e9:.0f} ns")
    print(f"times slower than the same kernel in C (gcc -O3): {min(ours) / min(c):.2f}")


if __name__ == "__main__":
    main()
