"""The largest bench: 8 supplies with 24 outputs, and a device with 10 inputs."""

from __future__ import annotations

import random

from tests.settings.hookup.scene import GOOD_LEAD, Data, needs, output, scene, supply

from railwright.documents.loader import Documents


def largest(seed: int) -> Documents:
    """Outputs that all differ, most of which may be joined, within a supply and across; five leads; ten
    inputs of which three need two or three outputs, two are negative rails and two are isolated.
    """
    draw = random.Random(seed)
    joins = {"may_join": ["series", "parallel"]}

    def outputs() -> list[Data]:
        found = []
        for _ in range(3):
            volts, amperes = draw.choice([18, 20, 30, 32, 36]), draw.choice([1.0, 1.5, 2.0, 2.5, 3.0])
            volts, amperes = volts + draw.randrange(20) / 10, amperes + draw.randrange(20) / 50
            found.append(
                output(volts, amperes, 0.8 * volts * amperes, **(joins if draw.random() < 0.8 else {}))
            )
        return found

    supplies = {name: supply(*outputs()) for name in "abcdefgh"}
    supplies["b"]["common_negative"] = ["1", "2"]
    supplies["c"]["coupled"] = [{"outputs": ["1", "2"], "by": "step"}]
    supplies["d"]["outputs"]["1"]["negative"] = "earth"
    inputs = {
        "logic": needs(5, 1.2),
        "analog": needs(12, 0.8),
        "minus": needs(12, 0.6, rail="negative"),
        "bias": needs(24, 0.3, rail="negative"),
        "sensor": needs(24, 0.05, "isolated"),
        "link": needs(5, 0.4, "isolated"),
        "radio": needs(28, 0.9),
        "heater": needs(12, 4.5, "earth"),
        "drive": needs(48, 0.9),
        "valve": needs(72, 0.5),
    }
    leads = {
        f"lead {gauge}": {**GOOD_LEAD, "conductor": f"AWG {gauge}", "permitted_current": f"{amperes} A"}
        for gauge, amperes in ((12, 25), (14, 18), (16, 12), (20, 5), (24, 2))
    }
    return scene(supplies, inputs, leads=leads)
