"""What is played: of very many moves, those that contain all others decide."""

import random

import pytest

from railwright.settings.played import FEW, Level, Played, Slope


def played(count, seed):
    draw = random.Random(seed)
    moves = []
    for _ in range(count):
        start, stop = draw.choice([0.0, 1.0, draw.uniform(-1, 12)]), draw.choice([12.0, draw.uniform(0, 16)])
        moves.append(Slope(start, stop, draw.choice([None, draw.uniform(1, 5000)]), "step", ("procedure",)))
    levels = tuple(Level(move.stop, "step", ("procedure",)) for move in moves)
    return Played(levels, tuple(moves))


@pytest.mark.parametrize("seed", range(5))
def test_every_move_upwards_is_contained_in_one_of_the_widest(seed):
    own = played(4 * FEW, seed)
    rising = [each for each in own.moves if each.stop > max(each.start, 0.0)]
    widest = own.widest_rises
    assert 0 < len(widest) < FEW
    inf = float("inf")
    for move in rising:
        assert any(
            max(each.start, 0.0) <= max(move.start, 0.0)
            and each.stop >= move.stop
            and (inf if each.rate is None else each.rate) >= (inf if move.rate is None else move.rate)
            for each in widest
        )
    assert set(widest) <= set(rising)


def test_of_few_moves_all_upwards_are_looked_at():
    """Off counts as 0 V: what ends at or below it, or below where it begins, is no rise."""
    up, down, below, out_of, slow, level = (
        Slope(start, stop, rate, "step", ())
        for start, stop, rate in (
            (0.0, 12.0, None),
            (12.0, 6.0, 50.0),
            (-8.0, -3.0, None),
            (-8.0, 0.5, 10.0),
            (6.0, 6.1, 0.01),
            (5.0, 5.0, 1.0),
        )
    )
    assert Played((), (slow, below, up, down, level, out_of)).widest_rises == (slow, up, out_of)


def test_reach_holds_off_as_zero():
    assert Played((Level(5.0, "s", ()), Level(9.0, "s", ())), ()).reach == (0.0, 9.0)
    assert Played((), ()).reach == (0.0, 0.0)
