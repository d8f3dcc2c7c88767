"""The small bench of the tests of a run, whose folder is looked at here."""

from tests.running.conftest import bench as bench
