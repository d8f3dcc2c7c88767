"""What the settings of every output are expected to read: what they were set to, and what moves with them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from railwright.documents.bench import Bench
from railwright.documents.output_name import OutputName
from railwright.instruments.supply import Change


class Expected:
    """What the settings of every output were last set to, and when; to be compared with what they read."""

    def __init__(self, bench: Bench) -> None:
        self._bench = bench
        self._values: dict[OutputName, dict[str, Change]] = {}
        self._since: dict[tuple[OutputName, str], float] = {}
        self._moving: set[OutputName] = set()

    def told(self, supply: str, changes: Sequence[Change], when: float) -> None:
        """Settings were changed and verified at an instant [s]."""
        for change in changes:
            name = OutputName.of(supply, change.output)
            own = self._values.setdefault(name, {})
            before = own.get(change.setting)
            own[change.setting] = change
            self._since[name, change.setting] = when
            if change.setting == "voltage":
                self._moving.discard(name)
                if before is not None:
                    self._take_along(supply, change, float(before.value), when)

    def ruled(self, outputs: Iterable[OutputName]) -> None:
        """Lists rule the voltages of these outputs until their set points are told again."""
        self._moving.update(outputs)

    def of(self, output: OutputName) -> tuple[Change, ...]:
        """Settings of an output that stay as they were set, but for its switch."""
        moving = {"output", "voltage"} if output in self._moving else {"output"}
        return tuple(c for c in self._values.get(output, {}).values() if c.setting not in moving)

    def stood(self, output: OutputName, setting: str, since: float) -> bool:
        """Whether a setting was changed for the last time before an instant [s]."""
        return self._since.get((output, setting), 0.0) < since

    def _take_along(self, supply: str, change: Change, before: float, when: float) -> None:
        """Coupled set points move together: by the same step, or in ratio."""
        now = float(change.value)
        for group in self._bench.supplies[supply].coupled:
            if change.output not in group.outputs:
                continue
            for other in group.outputs:
                coupled = OutputName.of(supply, other)
                own = self._values.get(coupled, {})
                there = own.get("voltage")
                if other == change.output or there is None:
                    continue
                goal = float(there.value) + now - before
                if group.by == "ratio":
                    goal = float(there.value) * (now / before if before else 1.0)
                bounds = self._bench.output(coupled).voltage
                own["voltage"] = Change(other, "voltage", min(max(goal, bounds.low), bounds.high))
                self._since[coupled, "voltage"] = when
