"""Entries of the solver and of the fits that are called wrongly: they raise, and the process lives on.

Each call is made in a process of its own, with one argument changed; what it prints is what was raised.
"""

from __future__ import annotations

import os
import subprocess
import sys

import pytest

PLAY = """
import numpy as np
from railwright.physics import kernel, layout
from railwright.physics.simulation import small_simulation

player, _ = small_simulation().player("small")
given = dict(
    target=1e-4, y=player.y, clock=player.clock, system=player.system, charge=player.charge,
    actions=np.zeros((0, layout.ACTION)), rows=player.rows, events=player.events,
    counts=np.zeros(3, dtype=np.int64), work=player.work, relative=player.relative, fine=player.fine,
    stop_at_trip=False,
)
system, work = player.system, player.work

def call(**changed):
    return kernel.play(*{**given, **changed}.values())
"""

CASES = """
import numpy as np
from railwright.physics import cases, layout
from railwright.physics.simulation import small_simulation

player, follows = small_simulation().player("small")
template = cases.make_template(player, np.zeros((1, 3)), None, 1e-4, follows)
slots = np.array([[cases.NUMBER, -1, layout.RESISTANCE]])
values = np.full((2, 1), 0.1)

def call(template=template, slots=slots, values=values, **changed):
    return cases.play_cases(template._replace(**changed), player.branch, slots, values)
"""

FITS = """
import numpy as np
from railwright.waveforms import fit_samples, fit_stepping, list_squares, list_stepping, tunnel

time, value, joined = np.arange(9.0), np.arange(9.0) ** 2, np.ones(9, bool)
hull = np.empty((2, 11))

def lines(time=time, value=value, joined=joined, lines=np.empty((9, 5)), hull_t=hull, hull_y=hull.copy()):
    return tunnel.tunnel_lines(time, value, joined, 1.0, lines, hull_t, hull_y)

def worst(time=time, value=value, knots=time[[0, 8]], levels=value[[0, 8]], block=4, worst=np.empty(3, int)):
    return tunnel.worst_rows(time, value, knots, levels, block, worst)

def corners(time=time, value=value, meets=time[[0, -1]], found=np.empty((99, 4))):
    return tunnel.corners(time, value, meets, found)

def steps(time=time, value=value, breaks=np.empty(9), levels=np.empty(9)):
    return fit_stepping._steps(time, value, 1.0, breaks, levels)

def cells(at=time, value=value, low=np.zeros(8), high=np.zeros(8)):
    return list_stepping._cells(at, value, low, high)

def fewest(low=value, high=value, shortest=1, parent=np.empty(10, int)):
    return list_stepping._fewest(low, high, shortest, 9, 1.0, 0.0, parent)

own = fit_samples._running(time, value)
grid = np.cumsum(np.ones((3, 9)), axis=1)
ends, meets, same = np.array([0, 4, 8]), np.array([0.0, 4.0, 8.0]), np.arange(3)

def move(sums=own, at=ends.copy()):
    return fit_samples._move(sums, at)

def merged(sums=own, at=ends.copy()):
    return fit_samples._merged(sums, at, 1.0, 0.0)

def parted(sums=own, at=ends, room=np.empty(9, int)):
    return fit_samples._parted(sums, at, 1.0, 0.0, room)

def solve(time=time, value=value, meets=meets, prior=np.zeros(3), same=same, room=np.zeros((3, 3))):
    return fit_samples._solve(time, value, meets, prior, same, room)

def integrate(at=time, value=value, sums=np.zeros((3, 9))):
    return list_squares._integrate(at, value, sums)

def chosen(sums=grid, places=ends, shortest=1, room=np.empty(3, int)):
    return list_squares._chosen(sums, places, shortest, 9, 1.0, 0, room)

def used_up(sums=grid, ends=np.array([0, 4, 8, 0]), size=3, shortest=1):
    return list_squares._used_up(sums, ends, size, shortest, 0)

def moved(sums=grid, ends=ends.copy(), shortest=1):
    return list_squares._moved(sums, ends, shortest, 9, 0)

def levels(sums=grid, ends=ends, levels=np.empty(3), room=np.zeros((3, 3))):
    return list_squares._levels(sums, ends, levels, room)

def joined_moved(sums=grid, ends=ends.copy(), shortest=1):
    return list_squares._joined_moved(sums, ends, shortest, 9, 2)
"""

HUGE = "10**9"

PLAYED_WRONGLY = {
    "y=None": TypeError,
    "y=np.zeros(0)": ValueError,
    "y=player.y[:-1].copy()": ValueError,
    "y=np.zeros((3, 3))": TypeError,
    "y=player.y.astype(np.float32)": TypeError,
    "y=np.zeros(2 * player.y.size)[::2]": TypeError,
    "y=list(player.y)": TypeError,
    "clock=np.zeros(0)": ValueError,
    "charge=np.zeros(0, int)": ValueError,
    "charge=player.charge.astype(np.int32)": TypeError,
    "actions=None": TypeError,
    "actions=np.zeros((1, 0))": ValueError,
    "actions=np.array([[0.0, 0.0, -1.0, 1.0, 0.0]])": ValueError,
    "actions=np.array([[0.0, 0.0, np.nan, 1.0, 0.0]])": ValueError,
    f"actions=np.array([[0.0, 0.0, {HUGE}, 1.0, 0.0]])": ValueError,
    f"actions=np.array([[0.0, {HUGE}, layout.SET_LOAD, 1.0, 0.0]])": ValueError,
    f"actions=np.array([[0.0, -{HUGE}, layout.SET_BRANCH, 1.0, 0.0]])": ValueError,
    "actions=np.array([[0.0, np.nan, layout.SET_BRANCH, 1.0, 0.0]])": ValueError,
    "rows=np.zeros((0, player.rows.shape[1]))": ValueError,
    "rows=np.zeros((100, 1))": ValueError,
    "rows=np.zeros((100, player.rows.shape[1] + 1))": ValueError,
    "events=np.zeros((9, 0))": ValueError,
    f"counts=np.array([{HUGE}, 0, 0])": ValueError,
    f"counts=np.array([0, -{HUGE}, 0])": ValueError,
    f"counts=np.array([0, 0, -{HUGE}])": ValueError,
    "counts=np.zeros(0, int)": ValueError,
    "work=None": TypeError,
    "work=tuple(work)": TypeError,
    "work=work._replace(f0=np.zeros(0))": ValueError,
    "work=work._replace(lu=np.zeros((1, 1)))": ValueError,
    "work=work._replace(k=np.zeros((1, 1)))": ValueError,
    "work=work._replace(before=np.zeros(0, int))": ValueError,
    "work=work._replace(pivots=work.f0)": TypeError,
    "system=system._replace(fixed=np.zeros((0, 0)))": ValueError,
    "system=system._replace(settings=np.zeros((1, 1)))": ValueError,
    "system=system._replace(branch=np.zeros(0))": ValueError,
    "system=system._replace(parameters=np.zeros(0))": ValueError,
    "system=system._replace(loads=np.zeros((0, layout.LOADS), int))": ValueError,
    f"system=system._replace(loads=system.loads + {HUGE})": ValueError,
    f"system=system._replace(loads=system.loads - {HUGE})": ValueError,
    f"system=system._replace(loads=system.loads + [[{HUGE}, 0, 0, 0]])": ValueError,
    "system=system._replace(scratch=np.zeros((0, 0)))": ValueError,
    "target=None": TypeError,
    "target='1'": TypeError,
}

CASES_WRONGLY = {
    "values=np.zeros((2, 5))": ValueError,
    "values=None": AttributeError,
    "slots=np.zeros((1, 0), int)": ValueError,
    f"slots=np.array([[cases.NUMBER, -1, {HUGE}]])": ValueError,
    f"slots=np.array([[cases.DAMPING, {HUGE}, 0]])": ValueError,
    f"slots=np.array([[{HUGE}, 0, 0]])": ValueError,
    "slots=slots.astype(float)": TypeError,
    "y=template.y[:-1].copy()": ValueError,
    "y=np.zeros(0)": ValueError,
    "stages=np.zeros((0, 3))": ValueError,
    "window=np.zeros(0)": ValueError,
    "starts=np.zeros(9, int)": ValueError,
    "actions=np.zeros((1, 0))": ValueError,
    "charge=np.zeros(0, int)": ValueError,
    "absolute=np.ones(1)": ValueError,
    "system=template.system._replace(settings=np.zeros((1, 1)))": ValueError,
}

FITTED_WRONGLY = {
    "lines(time=np.zeros(0))": ValueError,
    "lines(time=None)": TypeError,
    "lines(value=np.zeros(1))": ValueError,
    "lines(joined=np.ones(9))": TypeError,
    "lines(lines=np.empty((9, 1)))": ValueError,
    "lines(hull_t=np.empty((2, 1)))": ValueError,
    "worst(time=np.zeros(0), value=np.zeros(0), knots=np.zeros(0), levels=np.zeros(0))": ValueError,
    "worst(value=np.zeros(1))": ValueError,
    "worst(worst=np.empty(0, int))": ValueError,
    "worst(block=0)": ValueError,
    "corners(time=np.zeros(0), value=np.zeros(0))": ValueError,
    "corners(found=np.empty((1, 4)))": ValueError,
    "corners(found=np.empty((99, 1)))": ValueError,
    "steps(time=np.zeros(0), value=np.zeros(0))": ValueError,
    "steps(breaks=np.empty(0))": ValueError,
    "steps(value=value.astype(np.float32))": TypeError,
    "cells(high=np.zeros(1))": ValueError,
    "cells(at=np.array([0.0, np.nan]), value=np.zeros(2))": ValueError,
    f"cells(at=time - {HUGE})": ValueError,
    "fewest(parent=np.empty(0, int))": ValueError,
    f"fewest(shortest=-{HUGE})": ValueError,
    "fewest(high=np.zeros(0))": ValueError,
    "move(sums=own[:6].copy())": ValueError,
    f"move(at=ends + {HUGE})": ValueError,
    "move(at=np.zeros(0, int))": ValueError,
    "merged(at=ends[::-1].copy())": ValueError,
    f"merged(at=ends - {HUGE})": ValueError,
    "parted(room=np.empty(0, int))": ValueError,
    "parted(at=ends.astype(float))": TypeError,
    "solve(value=np.zeros(1))": ValueError,
    "solve(meets=np.zeros(0), prior=np.zeros(0), same=np.zeros(0, int))": ValueError,
    f"solve(same=same + {HUGE})": ValueError,
    f"solve(same=same - {HUGE})": ValueError,
    "solve(room=np.zeros((1, 3)))": ValueError,
    "integrate(value=np.zeros(1))": ValueError,
    "integrate(sums=np.zeros((1, 9)))": ValueError,
    f"integrate(at=time - {HUGE})": ValueError,
    f"chosen(places=ends + {HUGE})": ValueError,
    f"chosen(shortest=-{HUGE})": ValueError,
    "chosen(room=np.empty(0, int))": ValueError,
    f"used_up(size={HUGE})": ValueError,
    f"used_up(shortest=-{HUGE})": ValueError,
    f"moved(ends=ends - {HUGE})": ValueError,
    f"moved(shortest=-{HUGE})": ValueError,
    "levels(levels=np.empty(0))": ValueError,
    "levels(room=np.zeros((3, 1)))": ValueError,
    "levels(sums=np.zeros((1, 9)))": ValueError,
    f"joined_moved(ends=ends + {HUGE})": ValueError,
    f"joined_moved(shortest=-{HUGE})": ValueError,
}

INNER = """
import numpy as np
from railwright.physics import dispatch, equations, rosenbrock, solver, switching
from railwright.waveforms import tunnel
"""

INNER_FROM_PYTHON = {
    "dispatch.load_current(0, 1.0, 0.0, np.ones(1), np.ones(1), np.ones(1))": TypeError,
    "dispatch.load_parts(0, None)": TypeError,
    "equations.rhs(0.0, np.zeros(9), np.zeros(9), None)": TypeError,
    "rosenbrock.factorise(np.eye(3), np.zeros(3, int))": TypeError,
    "rosenbrock.interpolate(0.5, np.ones(2), np.ones(2), np.ones((2, 2)), np.ones(2))": TypeError,
    "solver._same(np.zeros(2, int), np.zeros(2, int))": TypeError,
    "switching.log_event(np.zeros((2, 3)), 0, 0.0, 1, 1)": TypeError,
    "tunnel._between(np.zeros(2), np.zeros(2), 0, 0.0)": TypeError,
}

PRINT = """
import sys
for number, text in enumerate(CALLS):
    try:
        eval(text)
    except Exception as error:
        print(number, type(error).__name__, flush=True)
    else:
        print(number, "nothing", flush=True)
"""


@pytest.mark.parametrize(
    ("setting", "calls"),
    [
        pytest.param(PLAY, {f"call({each})": kind for each, kind in PLAYED_WRONGLY.items()}, id="play"),
        pytest.param(CASES, {f"call({each})": kind for each, kind in CASES_WRONGLY.items()}, id="cases"),
        pytest.param(FITS, FITTED_WRONGLY, id="fits"),
        pytest.param(INNER, INNER_FROM_PYTHON, id="inner"),
    ],
)
def test_a_wrong_call_raises_and_the_process_lives_on(
    setting: str, calls: dict[str, type[Exception]]
) -> None:
    program = f"{setting}\nCALLS = {list(calls)!r}\n{PRINT}"
    done = subprocess.run(
        [sys.executable, "-X", "faulthandler", "-c", program],
        env={**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, sys.path))},
        capture_output=True,
        text=True,
        check=False,
    )
    lines = [line.split() for line in done.stdout.splitlines()]
    raised = {text: name for text, (_, name) in zip(calls, lines, strict=False)}
    assert raised == {text: kind.__name__ for text, kind in calls.items()}, done.stderr[-2000:]
    assert done.returncode == 0, done.stderr[-2000:]


def test_a_right_call_still_plays() -> None:
    program = f"{PLAY}\nprint(call(), player.clock[layout.TIME])"
    done = subprocess.run(
        [sys.executable, "-c", program],
        env={**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, sys.path))},
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stdout == "0 0.0001\n"
