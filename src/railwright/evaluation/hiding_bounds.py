"""The most that current and voltage can be between two readings: the same before a run and after it."""

from __future__ import annotations

import math
from collections.abc import Sequence

from railwright.documents.bench import Bench, Output
from railwright.documents.figures import error_bound, fastest_reference, own_capacitance
from railwright.measures.reading_model import HidingBound
from railwright.physics.output_stage import LIMIT_OVERSHOOT
from railwright.plan.set_points import Feed


def limits_of(feed: Feed, outputs: Sequence[Output]) -> list[tuple[float, float]]:
    """Current limit of each output and the bound of its error [A]."""
    limits = [setting.current_limit for setting in feed.outputs]
    tolerances = [
        error_bound(output.programming.current, limit) if output.programming else 0.0
        for output, limit in zip(outputs, limits, strict=True)
    ]
    return list(zip(limits, tolerances, strict=True))


def given_at_most(feed: Feed, outputs: Sequence[Output]) -> list[float]:
    """What each output's regulator gives at most until its limit has responded [A]: a data sheet does not say
    by what part of its rated current it exceeds its limit, which its model declares.
    """
    return [
        limit + tolerance + LIMIT_OVERSHOOT.high * output.current.high
        for (limit, tolerance), output in zip(limits_of(feed, outputs), outputs, strict=True)
    ]


def current_bound(feed: Feed, outputs: Sequence[Output]) -> HidingBound:
    """The most that flows by the current limits that were set, and what they may be off."""
    limits, tolerances = zip(*limits_of(feed, outputs), strict=True)
    if feed.arrangement == "parallel":
        return HidingBound(sum(limits), sum(tolerances), "the current limits that were set")
    index = limits.index(min(limits))
    return HidingBound(limits[index], tolerances[index], "the current limit that was set")


def voltage_bound(bench: Bench, feed: Feed) -> HidingBound:
    """The most that stands at the terminals, by the OVP levels that were set, and what they may be off."""
    outputs = [bench.output(setting.output) for setting in feed.outputs]
    levels = [setting.ovp for setting in feed.outputs]
    accuracies = [output.ovp.accuracy or 0.0 if output.ovp else 0.0 for output in outputs]
    tolerances = [sum(each) for each in zip(accuracies, _past_level(feed, outputs), strict=True)]
    if feed.arrangement == "series":
        return HidingBound(sum(levels), sum(tolerances), "the OVP levels that were set")
    return HidingBound(min(levels), max(tolerances), "the OVP level that was set")


def _past_level(feed: Feed, outputs: Sequence[Output]) -> list[float]:
    """How far each output rises past its OVP's level at most while that responds [V]: its own capacitor
    charged with all that it gives until its limit has responded, or, where no sense lead can come off, as
    fast as its reference rises.
    """
    gives = given_at_most(feed, outputs)
    farads = [own_capacitance(output) for output in outputs]
    if feed.arrangement == "parallel":
        gives, farads = [sum(gives)] * len(outputs), [sum(farads)] * len(outputs)
    found = []
    for output, most, own in zip(outputs, gives, farads, strict=True):
        response = output.ovp.response or 0.0 if output.ovp else 0.0
        reference = None if feed.sense == "at load" else fastest_reference(output)
        found.append(response * min(most / own, math.inf if reference is None else reference))
    return found
