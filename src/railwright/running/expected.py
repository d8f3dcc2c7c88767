"""What the settings of every output are expected to read: what they were set to, and what moves with them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from railwright.documents.bench import Bench
from railwright.documents.output_name import OutputName
from railwright.instruments.comparison import allowed_difference
from railwright.instruments.supply import OutputSetting
from railwright.plan.coupling import SetPoint, followers, taken_along
from railwright.plan.current_limits import whole_limit
from railwright.plan.set_points import SetPoints


class Expected:
    """What the settings of every output were last set to, and when; to be compared with what they read."""

    def __init__(self, bench: Bench) -> None:
        self._bench = bench
        self._values: dict[OutputName, dict[str, OutputSetting]] = {}
        self._since: dict[tuple[OutputName, str], float] = {}
        self._moving: set[OutputName] = set()
        self._under_way: set[tuple[OutputName, str]] = set()

    def told(self, supply: str, changes: Sequence[OutputSetting], when: float) -> None:
        """Settings were changed and verified at an instant [s]."""
        self._under_way.clear()
        for change in changes:
            name = OutputName.of(supply, change.output)
            own = self._values.setdefault(name, {})
            before = own.get(change.setting)
            own[change.setting] = change
            self._since[name, change.setting] = when
            if change.setting == "voltage":
                self._moving.discard(name)
            if before is None or change.setting not in ("voltage", "current_limit"):
                continue
            of: SetPoint = "voltage" if change.setting == "voltage" else "current_limit"
            if followers(self._bench, name, of):
                for moved in self._taken_along(name, self._standing(of), float(before.value), of):
                    other = OutputName.of(supply, moved.output)
                    self._values[other][of] = moved
                    self._since[other, of] = when

    def under_way(self, supply: str, changes: Sequence[OutputSetting]) -> None:
        """Settings are being changed: until that is done, what they and those that move with them read tells
        nothing of anybody else. Where it fails, its error does.
        """
        for change in changes:
            name = OutputName.of(supply, change.output)
            self._under_way.add((name, change.setting))
            if change.setting in ("voltage", "current_limit"):
                of: SetPoint = "voltage" if change.setting == "voltage" else "current_limit"
                self._under_way.update((other, of) for other, _ in followers(self._bench, name, of))

    def ruled(self, outputs: Iterable[OutputName]) -> None:
        """Lists rule the voltages of these outputs until their set points are told again."""
        self._moving.update(outputs)

    def of(self, output: OutputName) -> tuple[OutputSetting, ...]:
        """Settings of an output that stay as they were set, but for its switch."""
        moving = {"output", "voltage"} if output in self._moving else {"output"}
        return tuple(c for c in self._values.get(output, {}).values() if c.setting not in moving)

    def stood(self, output: OutputName, setting: str, since: float) -> bool:
        """Whether a setting was changed for the last time before an instant [s]; not while it is changed."""
        own = output, setting
        return own not in self._under_way and self._since.get(own, 0.0) < since

    def limits_moved_by(self, supply: str, changes: Sequence[OutputSetting]) -> tuple[OutputSetting, ...]:
        """The current limits of other outputs that these changes will move by coupling, and where to."""
        told = [change for change in changes if change.setting == "current_limit"]
        if not told:
            return ()
        stands, found = self._standing("current_limit"), dict[OutputName, OutputSetting]()
        for change in told:
            name = OutputName.of(supply, change.output)
            before, stands[name] = stands.get(name), float(change.value)
            for moved in self._taken_along(name, stands, before, "current_limit"):
                other = OutputName.of(supply, moved.output)
                stands[other] = float(moved.value)
                found[other] = moved
        own = {change.output for change in told}
        return tuple(moved for moved in found.values() if moved.output not in own)

    def voltages_moved_by(self, output: OutputName, goal: float) -> dict[OutputName, float]:
        """The other outputs whose voltage moves by coupling when one is set to `goal` [V], each with how far
        for every volt of it.
        """
        stands = self._standing("voltage")
        before, stands[output] = stands.get(output), goal
        if before is None or goal == before or not followers(self._bench, output):
            return {}
        there = dict(stands)
        return {
            other: abs(float(moved.value) - there[other]) / abs(goal - before)
            for moved in self._taken_along(output, stands, before, "voltage")
            for other in (OutputName.of(output.supply, moved.output),)
        }

    def limits_of(self, set_points: SetPoints) -> dict[str, float]:
        """The current limit that each input has by what its outputs were last set to [A]; without those of
        which one was not set.
        """
        stands = self._standing("current_limit")
        return {
            name: whole_limit(feed, stands)
            for name, feed in set_points.items()
            if all(output in stands for output in feed.names)
        }

    def _standing(self, of: SetPoint) -> dict[OutputName, float]:
        return {name: float(own[of].value) for name, own in self._values.items() if of in own}

    def _taken_along(
        self, name: OutputName, stands: Mapping[OutputName, float], before: float | None, of: SetPoint
    ) -> list[OutputSetting]:
        """Coupled set points move together: by the same step, or in ratio.

        A limit may read a step of the grid of the output that moved it beside where it is reckoned to be: the
        instrument rounds in its own way.
        """
        if before is None:
            return []
        slack = 0.0
        if of == "current_limit":
            slack = allowed_difference(self._bench.output(name), of, stands[name])
        return [
            OutputSetting(other.output, of, goal, slack)
            for other, goal in taken_along(self._bench, stands, name, before, of)
        ]
