"""Instruments: dialects as data files, sessions over VISA, and the driver of a supply."""
