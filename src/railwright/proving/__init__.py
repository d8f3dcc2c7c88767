"""Outputs and leads of a bench proved into an electronic load, before a device is connected."""
