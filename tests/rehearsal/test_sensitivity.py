"""Sobol's indices of functions whose indices are known in closed form, and how much is played for them."""

from __future__ import annotations

import numpy as np
import pytest
from tests.rehearsal.scene import short
from tests.rehearsal.test_ensemble import MAIN, TRANSDUCER, with_delay

from railwright.rehearsal.ensemble import plan_ensemble
from railwright.rehearsal.sensitivity import BASE, base_design, indices_of, sensitivities


def indices(function, count, base=BASE, seed=1):
    """Of a function of shares (rows, count), by the design that `sensitivities` plays."""
    first, second = base_design(count, base, seed)
    pages = np.repeat(first[np.newaxis], count, axis=0)
    for k in range(count):
        pages[k, :, k] = second[:, k]
    return indices_of(function(np.concatenate([first, second, *pages])), first, second)


def ishigami(shares):
    """T. Ishigami, T. Homma, ISUMA 1990: a = 7, b = 0.1, each quantity over -π to π."""
    x = np.pi * (2.0 * shares - 1.0)
    return np.sin(x[:, 0]) + 7.0 * np.sin(x[:, 1]) ** 2 + 0.1 * x[:, 2] ** 4 * np.sin(x[:, 0])


def ishigami_truth():
    """The variances of its parts in closed form (the same source)."""
    a, b, pi = 7.0, 0.1, np.pi
    one, two, both = 0.5 * (1 + b * pi**4 / 5) ** 2, a**2 / 8, b**2 * pi**8 * (1 / 18 - 1 / 50)
    variance = one + two + both
    return np.array([one, two, 0.0]) / variance, np.array([one + both, two, both]) / variance


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_function_that_no_parabola_describes(seed):
    """Within the stated errors of Ishigami's function; what is alone is not more than what is in all."""
    alone, in_all = ishigami_truth()
    found = indices(ishigami, 3, base=1024, seed=seed)
    assert found.alone == pytest.approx(alone, abs=0.03)
    assert found.in_all == pytest.approx(in_all, abs=0.03)
    assert (np.abs(found.in_all - in_all) < 4.0 * found.in_all_error + 1e-3).all()


@pytest.mark.parametrize("count", [3, 11])
def test_a_sum_of_lines_is_exact(count):
    """Var(Σ c x) = Σ c² / 12: each has its own part, alone and in all, from few cases."""
    weights = np.arange(1.0, count + 1.0)
    found = indices(lambda shares: shares @ weights, count, base=16)
    assert found.alone == pytest.approx(weights**2 / (weights**2).sum(), abs=1e-9)
    assert found.in_all == pytest.approx(weights**2 / (weights**2).sum(), abs=1e-9)


def test_a_product_has_no_part_alone_that_it_has_together():
    """(x - 1/2)(y - 1/2): all of the variance is in both together; a third quantity has none of it."""
    found = indices(lambda shares: (shares[:, 0] - 0.5) * (shares[:, 1] - 0.5), 3)
    assert found.alone == pytest.approx([0, 0, 0], abs=1e-9)
    assert found.in_all == pytest.approx([1, 1, 0], abs=1e-9)


def test_a_jump_is_not_smoothed_away():
    """1 where x > 0.9, else 0, and 0.1 y: variances 0.09 and 0.01 / 12, whatever a parabola says."""
    found = indices(lambda shares: (shares[:, 0] > 0.9) + 0.1 * shares[:, 1], 2)
    small = 0.01 / 12.0
    truth = np.array([0.09, small]) / (0.09 + small)
    assert found.in_all == pytest.approx(truth, abs=0.02)
    assert found.alone == pytest.approx(truth, abs=0.05)


def test_rare_cases_show_as_a_large_error():
    """1 in two of a thousand cases: few points see it, and the error says so rather than a part to trust."""
    found = indices(lambda shares: (shares[:, 0] * shares[:, 1] > 0.98).astype(float), 2, base=256)
    assert found.in_all_error.max() > 0.1


def test_each_branch_plays_its_own_quantities_only(documents):
    """base · (own quantities + 2) of each: 13 of main and its lead, 10 of the transducer's."""
    plan = plan_ensemble(
        documents, {"main": MAIN, "transducer": TRANSDUCER}, 64, timeline=short(documents), tail=0.01
    )
    own = [sum(str(name).startswith(starts) for name in plan.design.names) for starts in
           (("main", "left"), ("transducer", "right"))]  # fmt: skip
    told: list[tuple[int, int]] = []
    found = sensitivities(plan, base=16, each=lambda played, of: told.append((played, of)))
    assert told[-1] == (16 * sum(count + 2 for count in own),) * 2
    assert [played for played, _ in told] == sorted(played for played, _ in told)
    assert {name for name, _ in found.found} == {"main", "transducer"}
    # Nothing of one input has a part in the other.
    for (name, _), each in found.found.items():
        others = [k for k, what in enumerate(plan.design.names)
                  if str(what).startswith(("transducer", "right")) == (name == "main")]  # fmt: skip
        assert not each.in_all[others].any()


def test_what_does_not_happen_in_every_case_has_no_index(documents):
    """Where some cases trip, the time of the trip is nothing to take a variance of: not 0, but none."""
    plan = plan_ensemble(
        documents, {"main": with_delay(MAIN, 0.0145)}, 64, timeline=short(documents), tail=0.1
    )
    found = sensitivities(plan, base=16)
    assert ("main", "tripped_at") in found.not_in_all
    assert ("main", "tripped_at") not in found.found
