"""Railwright: set, rehearse, run and judge tests of a device's d.c. power inputs."""

__version__ = "0.1.0"
