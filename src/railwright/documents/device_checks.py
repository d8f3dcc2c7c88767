"""What the parts of a device document say of each other."""

from __future__ import annotations

from collections.abc import Iterator

from railwright.documents.files import DocumentSource
from railwright.documents.references import circle, items, keys, names, text, unknown
from railwright.documents.sources import Problem


def check_device(device: DocumentSource) -> Iterator[Problem]:
    """Each reference names an input or a pin, no rule is about one input twice, no order goes in a circle."""
    inputs = names(device, "inputs")
    pins = None if device.ambiguous else keys(device.root.get("pins"))
    for name in keys(device.root.get("inputs")):
        for number in range(len(items(device.root.get("inputs", name, "load")))):
            yield from unknown(device, ("inputs", name, "load", number, "enabled_by"), "device's pins", pins)
    before: dict[str, set[str]] = {}
    for section, first_key, second_key in (("order", "after", "then"), ("never", "voltage_of", "minus")):
        for number, rule in enumerate(items(device.root.get(section))):
            first, second = text(rule.child(first_key)), text(rule.child(second_key))
            for key in (first_key, second_key):
                yield from unknown(device, (section, number, key), "inputs", inputs)
            if first is not None and first == second:
                message = (
                    f"expected two different inputs in '{first_key}' and '{second_key}', got '{first}' twice"
                )
                yield Problem(device.where((section, number, second_key)), message)
            elif section == "order" and first is not None and second is not None:
                before.setdefault(second, set()).add(first)
                if around := circle(before):
                    message = (
                        f"expected an order without a circle, got {' after '.join(around)}; remove a rule"
                    )
                    yield Problem(device.where((section, number, second_key)), message)
                    return
