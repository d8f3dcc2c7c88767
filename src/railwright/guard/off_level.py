"""When an output counts as off. By itself, as a check needs nothing else of switching off."""

OFF_BELOW = 1.0
"""Voltage below which an output that was switched off counts as off [V], where nothing else is known."""

DECAY = 10.0
"""How long the voltage of an input that was switched off may take to fall before it counts as a residual [s].
"""

STEADY = 0.25
"""An output must be read off over this long before it counts as confirmed [s]: one that comes on again by
itself is seen.
"""

CLOSING = 0.3
"""So long after it was confirmed off it is read once more before it is called off [s]: what comes on again by
itself, or by a person at its panel, does so soon. OFF waits for it nowhere.
"""
