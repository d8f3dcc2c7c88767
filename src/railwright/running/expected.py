"""What the settings of every output are expected to read: what they were set to, and what moves with them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from railwright.documents.bench import Bench
from railwright.documents.output_name import OutputName
from railwright.instruments.supply import OutputSetting
from railwright.plan.coupling import followers, moved


class Expected:
    """What the settings of every output were last set to, and when; to be compared with what they read."""

    def __init__(self, bench: Bench) -> None:
        self._bench = bench
        self._values: dict[OutputName, dict[str, OutputSetting]] = {}
        self._since: dict[tuple[OutputName, str], float] = {}
        self._moving: set[OutputName] = set()

    def told(self, supply: str, changes: Sequence[OutputSetting], when: float) -> None:
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

    def of(self, output: OutputName) -> tuple[OutputSetting, ...]:
        """Settings of an output that stay as they were set, but for its switch."""
        moving = {"output", "voltage"} if output in self._moving else {"output"}
        return tuple(c for c in self._values.get(output, {}).values() if c.setting not in moving)

    def stood(self, output: OutputName, setting: str, since: float) -> bool:
        """Whether a setting was changed for the last time before an instant [s]."""
        return self._since.get((output, setting), 0.0) < since

    def _take_along(self, supply: str, change: OutputSetting, before: float, when: float) -> None:
        """Coupled set points move together: by the same step, or in ratio."""
        for coupled, group in followers(self._bench, OutputName.of(supply, change.output)):
            own = self._values.get(coupled, {})
            if (there := own.get("voltage")) is None:
                continue
            goal = moved(before, float(change.value), float(there.value), group.by)
            bounds = self._bench.output(coupled).voltage
            goal = min(max(goal, bounds.low), bounds.high)
            own["voltage"] = OutputSetting(coupled.output, "voltage", goal)
            self._since[coupled, "voltage"] = when
