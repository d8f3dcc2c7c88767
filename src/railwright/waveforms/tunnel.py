"""The fewest straight lines through a tunnel: compiled, linear in the tunnel's corners.

As far as any line goes, and on from the window that this line leaves open (Imai and Iri, An optimal algorithm
for approximating a piecewise linear function, Journal of Information Processing 9, 1986; from memory). The
convex hulls of the tunnel's corners are kept from row to row: every corner enters and leaves each at most
twice.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from railwright.compilation import (
    FLOAT,
    GIVEN,
    GIVEN_FLAGS,
    INTEGER,
    INTEGERS,
    MATRIX,
    compiled,
)
from railwright.waveforms.compiled import compiled_entry
from railwright.waveforms.waveform import Array

LOWER, UPPER = 0, 1
Flags = NDArray[np.bool_]


@compiled
def _tangent(side: int, t: float, y: float, hull_t: Array, hull_y: Array, head: int, tail: int) -> int:
    """Corner of a hull (side: of lower or of upper points) where the line through (t, y), right of it,
    touches.
    """
    sign = 1.0 if side == LOWER else -1.0
    while head + 1 < tail:
        here = (y - hull_y[side, head]) * (t - hull_t[side, head + 1])
        then = (y - hull_y[side, head + 1]) * (t - hull_t[side, head])
        if sign * here > sign * then:
            head += 1
        else:
            break
    return head


@compiled
def _pushed(side: int, t: float, y: float, hull_t: Array, hull_y: Array, head: int, tail: int) -> int:
    """Take a point, right of all others, into a hull; gives its new end."""
    sign = 1.0 if side == LOWER else -1.0
    while tail - head >= 2:
        wide = (hull_t[side, tail - 1] - hull_t[side, tail - 2]) * (y - hull_y[side, tail - 2])
        high = (hull_y[side, tail - 1] - hull_y[side, tail - 2]) * (t - hull_t[side, tail - 2])
        if sign * (wide - high) >= 0.0:
            tail -= 1
        else:
            break
    hull_t[side, tail], hull_y[side, tail] = t, y
    return tail + 1


@compiled_entry(GIVEN, GIVEN, GIVEN_FLAGS, FLOAT, MATRIX, MATRIX, MATRIX)
def tunnel_lines(
    time: Array, value: Array, joined: Flags, tolerance: float, lines: Array, hull_t: Array, hull_y: Array
) -> int:
    """Fewest lines through the tunnel; more than there is room for in lines (n, 5): that many are too few.

    time, value, joined (rows,): the tunnel reaches from `tolerance` below to as much above each row, and
    above each straight line to a row from the one before where it is joined to that; elsewhere nothing is
    asked between the rows. hull_t, hull_y (2, rows + 2): room to work in.

    Of each line: a point, its slope, and where the window begins and ends that the next must cross. The
    steepest line that still fits (`up`) goes through an upper corner and an earlier lower one, the flattest
    (`down`) through a lower corner and an earlier upper one.

    Raises ValueError where sizes do not fit together.
    """
    rows, most, count = int(time.size), int(lines.shape[0]), 0
    if rows < 1 or value.size != rows or joined.size != rows:
        raise ValueError("time, value, joined: expected as many rows of each, one at least")
    if lines.shape[1] != 5 or hull_t.shape != (2, rows + 2) or hull_y.shape != (2, rows + 2):
        raise ValueError("lines, hull_t, hull_y: expected (n, 5) and twice (2, rows + 2)")
    head_l, tail_l, head_u, tail_u = 0, 1, 0, 1
    hull_t[LOWER, 0], hull_y[LOWER, 0] = time[0], value[0] - tolerance
    hull_t[UPPER, 0], hull_y[UPPER, 0] = time[0], value[0] + tolerance
    has_up = has_down = False
    up_t = up_y = up_s = down_t = down_y = down_s = 0.0
    up_next = down_next = 1
    last = -1.0
    row = 1
    while row < rows:
        t = time[row]
        upper, lower = value[row] + tolerance, value[row] - tolerance
        highest = up_y + up_s * (t - up_t) if has_up else np.inf
        lowest = down_y + down_s * (t - down_t) if has_down else -np.inf
        if upper >= lowest and lower <= highest:
            if upper < highest:
                head_l = _tangent(LOWER, t, upper, hull_t, hull_y, head_l, tail_l)
                if t > hull_t[LOWER, head_l]:
                    up_s = (upper - hull_y[LOWER, head_l]) / (t - hull_t[LOWER, head_l])
                    up_t, up_y, up_next, has_up = t, upper, row + 1, True
            if lower > lowest:
                head_u = _tangent(UPPER, t, lower, hull_t, hull_y, head_u, tail_u)
                if t > hull_t[UPPER, head_u]:
                    down_s = (lower - hull_y[UPPER, head_u]) / (t - hull_t[UPPER, head_u])
                    down_t, down_y, down_next, has_down = t, lower, row + 1, True
            tail_l = _pushed(LOWER, t, lower, hull_t, hull_y, head_l, tail_l)
            tail_u = _pushed(UPPER, t, upper, hull_t, hull_y, head_u, tail_u)
            row += 1
            continue
        # No line goes on to this row. The one that goes farthest leaves the tunnel between the last row and
        # this.
        over = upper < lowest
        pivot_t, pivot_y, slope, after = down_t, down_y, down_s, down_next
        if not over:
            pivot_t, pivot_y, slope, after = up_t, up_y, up_s, up_next
        edge = tolerance if over else -tolerance
        sign = 1.0 if over else -1.0
        inside = max(0.0, sign * (value[row - 1] + edge - (pivot_y + slope * (time[row - 1] - pivot_t))))
        outside = max(0.0, sign * (pivot_y + slope * (t - pivot_t) - (value[row] + edge)))
        part = inside / (inside + outside) if joined[row] and inside + outside > 0.0 else 1.0
        exit_t = max(pivot_t, time[row - 1] + part * (t - time[row - 1]))
        exit_y = pivot_y + slope * (exit_t - pivot_t)
        if count >= most or exit_t <= last:
            break
        last = exit_t
        lines[count, 0], lines[count, 1], lines[count, 2] = pivot_t, pivot_y, slope
        lines[count, 3], lines[count, 4] = pivot_t, exit_t
        count += 1
        # The next line crosses the window from its pivot to the exit: two corners to begin with.
        near, far = (LOWER, UPPER) if over else (UPPER, LOWER)
        hull_t[near, 0], hull_y[near, 0], end = pivot_t, pivot_y, 1
        for between in range(after, row):
            corner = value[between] - edge
            end = _pushed(near, time[between], corner, hull_t, hull_y, 0, end)
        hull_t[far, 0], hull_y[far, 0] = exit_t, exit_y
        head = _tangent(near, exit_t, exit_y, hull_t, hull_y, 0, end)
        has_up = has_down = False
        if exit_t > hull_t[near, head]:
            through = (exit_y - hull_y[near, head]) / (exit_t - hull_t[near, head])
            if over:
                up_t, up_y, up_s, up_next, has_up = exit_t, exit_y, through, row, True
            else:
                down_t, down_y, down_s, down_next, has_down = exit_t, exit_y, through, row, True
        if over:
            head_l, tail_l, head_u, tail_u = head, end, 0, 1
        else:
            head_l, tail_l, head_u, tail_u = 0, 1, head, end
    if row < rows or count >= most:
        return most + 1
    # The last line is any that fits: the mean of the steepest and the flattest.
    at, level, slope = time[0], value[0], 0.0
    if has_up and has_down:
        end_t = time[rows - 1]
        level = 0.5 * (up_y + up_s * (end_t - up_t) + down_y + down_s * (end_t - down_t))
        at, slope = end_t, 0.5 * (up_s + down_s)
    elif has_up:
        at, level, slope = up_t, up_y, up_s
    elif has_down:
        at, level, slope = down_t, down_y, down_s
    lines[count, 0], lines[count, 1], lines[count, 2] = at, level, slope
    lines[count, 3], lines[count, 4] = time[rows - 1], time[rows - 1]
    return count + 1


@compiled_entry(GIVEN, GIVEN, GIVEN, GIVEN, INTEGER, INTEGERS)
def worst_rows(
    time: Array, value: Array, knots: Array, levels: Array, block: int, worst: NDArray[np.int64]
) -> float:
    """Largest deviation of joined lines from the rows; worst: in each block of rows, where its largest is.

    time, value (n,); knots, levels (m,): where the lines meet, two at least; worst (blocks,). Raises
    ValueError where sizes do not fit together.
    """
    if value.size != time.size or levels.size != knots.size or knots.size < 2:
        raise ValueError("time and value, knots and levels: expected as many of each, two knots at least")
    if block < 1 or worst.size * block < time.size:
        raise ValueError("worst: expected one for each block of one row at least")
    largest, line = 0.0, 0
    slope = (levels[1] - levels[0]) / (knots[1] - knots[0]) if knots[1] > knots[0] else 0.0
    for begin in range(0, time.size, block):
        most, where = -1.0, begin
        for row in range(begin, min(begin + block, time.size)):
            while line + 2 < knots.size and time[row] > knots[line + 1]:
                line += 1
                length = knots[line + 1] - knots[line]
                slope = (levels[line + 1] - levels[line]) / length if length > 0.0 else 0.0
            off = abs(levels[line] + slope * (time[row] - knots[line]) - value[row])
            if off > most:
                most, where = off, row
        worst[begin // block] = where
        largest = max(largest, most)
    return largest


@compiled_entry(GIVEN, GIVEN, GIVEN, MATRIX)
def corners(time: Array, value: Array, meets: Array, found: Array) -> int:
    """The rows between meets that bound a line there: corners of the hulls above and below. Gives their
    number.

    time, value (n,): straight lines from row to row; meets (m,): ascending, of its time. found (room, 4):
    line, time, value, and LOWER where a line must not be much below, UPPER where not much above. Raises
    ValueError where sizes do not fit together, or there are more corners than room.
    """
    count, row, rows = 0, 0, time.size
    if rows < 1 or value.size != rows or found.shape[1] != 4:
        raise ValueError("time, value, found: expected as many rows, one at least, and (room, 4)")
    hull_t, hull_y = np.empty((2, rows + 3)), np.empty((2, rows + 3))
    for line in range(meets.size - 1):
        begin, end = meets[line], meets[line + 1]
        tails = np.zeros(2, np.int64)
        while row < rows and time[row] <= begin:
            row += 1
        for side in (LOWER, UPPER):
            tails[side] = _pushed(
                side, begin, _between(time, value, max(row, 1), begin), hull_t, hull_y, 0, 0
            )
        inside = row
        while inside < rows and time[inside] < end:
            for side in (LOWER, UPPER):
                tails[side] = _pushed(side, time[inside], value[inside], hull_t, hull_y, 0, tails[side])
            inside += 1
        last = min(max(inside, 1), rows - 1)
        for side in (LOWER, UPPER):
            tails[side] = _pushed(side, end, _between(time, value, last, end), hull_t, hull_y, 0, tails[side])
            if count + tails[side] > found.shape[0]:
                raise ValueError("found: there are more corners than room for them")
            for place in range(tails[side]):
                found[count, 0], found[count, 1] = line, hull_t[side, place]
                found[count, 2], found[count, 3] = hull_y[side, place], side
                count += 1
    return count


@compiled
def _between(time: Array, value: Array, row: int, at: float) -> float:
    """Value at an instant on the straight line that ends at a row."""
    row = min(row, time.size - 1)
    length = time[row] - time[row - 1]
    part = min(max((at - time[row - 1]) / length, 0.0), 1.0) if length > 0.0 else 1.0
    return float(value[row - 1] + part * (value[row] - value[row - 1]))
