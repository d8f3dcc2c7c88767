"""What settings make of a load that a pin enables: its draw counts where it is enabled, and nowhere else."""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.relays.pins import CONVERTER, DRIVEN, ENABLED, HIGH, documents, pinned_head, steps

from railwright.job import Job
from railwright.settings.context import FedInput, sources_of

FEEDS = "  - relays: {close: [enable], settle: 100 ms}\n    name: enable\n"
BACK = "  - relays: {open: [enable], settle: 100 ms}\n    name: disable\n"
MOST = 3.6 * 1.1 / 0.83 / 12.0
"""Greatest draw at 12 V, by its figures [A]."""


def source(path: Path) -> FedInput:
    return sources_of(Job.open(path).documents)[0]["main"]


def test_the_ramp_has_no_load_and_the_level_all_of_it(tmp_path: Path) -> None:
    later = source(documents(tmp_path / "a"))
    assert later.enabled == (frozenset(), frozenset({1}), frozenset({1}))
    level, ramp = later.load.current(12.0), later.rising_load.current(12.0)
    assert level is not None
    assert ramp is not None
    assert (level.low, level.high) == pytest.approx((0.0, MOST))
    assert (ramp.low, ramp.high) == (0.0, 0.0)
    # At 12 V, and not where a ramp would start it, at 8.2 V.
    assert max(each.current for each in later.asked if not each.declared) == pytest.approx(MOST, rel=1e-6)


@pytest.mark.parametrize(
    ("starts", "procedure", "enabled"),
    [
        ("active", steps().replace(FEEDS, "").replace(BACK, ""), (set(), set(), set())),
        ("inactive", steps().replace(FEEDS, "").replace(BACK, ""), ({1}, set(), set())),
        ("inactive", FEEDS + steps().replace(FEEDS, "").replace(BACK, ""), (set(), set(), set())),
        ("active", steps().replace(FEEDS, ""), (set(), {1}, set())),
        # Enabled only while it is off: never of any weight.
        ("inactive", steps().replace(FEEDS, "").replace(BACK, "") + FEEDS, ({1}, set(), set())),
    ],
    ids=["always", "never", "before", "until", "afterwards"],
)
def test_when_it_is_enabled_is_told_from_the_steps(
    starts: str, procedure: str, enabled: tuple[set[int], ...], tmp_path: Path
) -> None:
    path = documents(
        tmp_path / "s", HIGH, DRIVEN, head=pinned_head(starts), procedure=procedure, requires="  []\n"
    )
    assert tuple(map(set, source(path).enabled)) == enabled


def test_without_a_pin_nothing_changes(tmp_path: Path) -> None:
    plain = source(documents(tmp_path / "s", load=CONVERTER))
    assert plain.rising_load is plain.load
    assert plain.enabled_load is plain.load


@pytest.mark.parametrize(
    ("limit", "never", "finds"),
    [("300 mA", False, True), ("300 mA", True, False), ("700 mA", False, False)],
)
def test_a_limit_below_what_is_drawn_once_it_is_enabled_is_found(
    limit: str, never: bool, finds: bool, tmp_path: Path
) -> None:
    """The declared current would say so alone, and is left out."""
    head = pinned_head().replace("current_limit: 1.5 A", f"current_limit: {limit}")
    procedure = steps().replace(FEEDS, "").replace(BACK, "") if never else steps()
    path = documents(tmp_path / "s", head=head, procedure=procedure, requires="  []\n")
    device = path.parent / "tide-gauge.device.yaml"
    text = device.read_text("utf-8")
    line = next(each for each in text.splitlines(keepends=True) if "current: {steady: 180 mA" in each)
    device.write_text(text.replace(line, ""), "utf-8")
    found = {
        each.rule for each in Job.open(path).check(static=True).settings.findings if each.about == "main"
    }
    assert ("limit-below-need" in found) is finds


def test_what_is_enabled_at_times_empties_nothing_for_sure(tmp_path: Path) -> None:
    """Off may come while it is disabled: the capacitor then empties through the bleeder alone."""
    found = {}
    for name, load in (("pin", ENABLED), ("plain", CONVERTER)):
        documented = Job.open(documents(tmp_path / name, load=load)).documents
        found[name] = sources_of(documented)[0]["main"].load.current(10.0)
    assert found["pin"] is not None
    assert found["plain"] is not None
    assert found["pin"].low == 0.0 < found["plain"].low
    assert found["pin"].high == found["plain"].high
