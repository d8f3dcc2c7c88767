"""Inputs can be told apart, also by colour-blind readers; modes and outcomes never rely on colour."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest

from railwright.evaluation.outcome import Outcome
from railwright.report.style import INPUT_COLOURS, MODES, OUTCOME_SHAPES, PALE, colours, tint
from railwright.traces import Mode

# Machado, Oliveira and Fernandes (2009), severity 1.0, in linear RGB (from memory).
SIGHT = {
    "normal": np.eye(3),
    "protanopia": np.array(
        [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]
    ),
    "deuteranopia": np.array(
        [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]
    ),
}


def linear(colour: str) -> np.ndarray:
    channels = np.array([int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)])
    return np.where(channels <= 0.04045, channels / 12.92, ((channels + 0.055) / 1.055) ** 2.4)


def lab(rgb: np.ndarray) -> np.ndarray:
    """CIE 1976 L*a*b* of linear sRGB, white point D65."""
    to_xyz = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
    xyz = to_xyz @ np.clip(rgb, 0, 1) / np.array([0.9505, 1.0, 1.089])
    f = np.where(xyz > (6 / 29) ** 3, np.cbrt(xyz), xyz / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


@pytest.mark.parametrize("sight", SIGHT)
def test_input_colours_differ(sight: str) -> None:
    seen = {colour: lab(SIGHT[sight] @ linear(colour)) for colour in INPUT_COLOURS}
    nearest = min(float(np.linalg.norm(seen[a] - seen[b])) for a, b in combinations(INPUT_COLOURS, 2))
    assert nearest > 11.0


@pytest.mark.parametrize("colour", INPUT_COLOURS)
def test_a_thin_line_stands_out_from_paper(colour: str) -> None:
    # WCAG 2, contrast of graphical objects: at least 3 to 1.
    luminance = float(linear(colour) @ np.array([0.2126, 0.7152, 0.0722]))
    assert 1.05 / (luminance + 0.05) > 3.0


@pytest.mark.parametrize("colour", INPUT_COLOURS)
def test_rehearsed_and_read_differ_where_both_are_printed_in_grey(colour: str) -> None:
    """Contrast of luminance alone: broad pale line to paper, and thin line upon it."""
    weights = np.array([0.2126, 0.7152, 0.0722])
    thin, pale = (float(linear(c) @ weights) + 0.05 for c in (colour, tint(colour, PALE)))
    assert 1.05 / pale > 1.6
    assert pale / thin > 1.9


def test_an_input_keeps_its_colour_whatever_is_plotted() -> None:
    assert colours(["main", "transducer"])["transducer"] == INPUT_COLOURS[1]
    assert len(set(colours(str(n) for n in range(6)).values())) == 6


def test_every_mode_has_its_own_word_and_pattern() -> None:
    assert set(MODES) == set(Mode)
    assert len({look.word for look in MODES.values()}) == len(Mode)
    assert len({(look.hatch, look.ground) for look in MODES.values()}) == len(Mode)


def test_mode_bands_are_grey() -> None:
    for look in MODES.values():
        assert len({look.ground[i : i + 2] for i in (1, 3, 5)}) == 1


def test_every_outcome_has_its_own_shape() -> None:
    assert len({OUTCOME_SHAPES[outcome] for outcome in Outcome}) == len(Outcome)


def test_tint_goes_from_white_to_the_colour() -> None:
    assert tint("#0072b2", 0.0) == "#ffffff"
    assert tint("#0072b2", 1.0) == "#0072b2"
