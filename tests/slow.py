"""Which tests `make test-fast` leaves out, and why."""

from __future__ import annotations

from functools import cache
from pathlib import Path

TESTS = Path(__file__).parent

JUDGE = "an outside program or a reference solution judges"
PROCESSES = "starts processes of its own"
REAL_TIME = "lasts as long as what it plays: fake supplies, a guard or a log in real time"
PLAYED = "plays whole procedures, rehearsed and on simulated supplies"
DRAWN = "sets and draws whole pages"
LONG = "works for long: thousands of cases, or code compiled for it"

SLOW = {
    "external": JUDGE,
    "instruments": REAL_TIME,
    "proving": PLAYED,
    "archive": PLAYED,
    "pytest_plugin": PROCESSES,
    "test_busy.py": PROCESSES,
    "test_compilation.py": PROCESSES,
    "test_compiled_cache.py": PROCESSES,
    "test_disagreements.py": PLAYED,
    "test_fault_matrix.py": LONG,
    "test_fuzz.py": PROCESSES,
    "test_job.py": LONG,
    "test_notebook.py": PROCESSES,
    "test_same_outcomes.py": PROCESSES,
    "test_spread.py": PROCESSES,
    "test_wheel.py": PROCESSES,
    "multimeter": PLAYED,
    "relays": PLAYED,
    "truth": PLAYED,
    "cli/test_changed_run.py": LONG,
    "cli/test_demo.py": PROCESSES,
    "cli/test_detail.py": PROCESSES,
    "cli/test_evaluate_recordings.py": LONG,
    "cli/test_exits.py": PROCESSES,
    "cli/test_start.py": PROCESSES,
    "cli/test_hook_up.py": LONG,
    "cli/test_killed_run.py": PROCESSES,
    "cli/test_off.py": REAL_TIME,
    "cli/test_other_commands.py": REAL_TIME,
    "cli/test_progress.py": LONG,
    "cli/test_output.py": REAL_TIME,
    "cli/test_power.py": PROCESSES,
    "cli/test_printer.py": PROCESSES,
    "cli/test_printing.py": PROCESSES,
    "cli/test_rehearse_cases.py": LONG,
    "cli/test_streams.py": PROCESSES,
    "cli/test_targets.py": PROCESSES,
    "cli/test_terse_supply.py": PROCESSES,
    "cli/test_warm_up.py": PROCESSES,
    "dialects/test_clear_trips.py": LONG,
    "documents/test_own_dialects.py": PLAYED,
    "guard/test_alone.py": PROCESSES,
    "guard/test_hislip.py": REAL_TIME,
    "guard/test_locks.py": PROCESSES,
    "guard/test_process.py": PROCESSES,
    "guard/test_serial_line.py": REAL_TIME,
    "guard/test_wire.py": REAL_TIME,
    "messages": PROCESSES,
    "watching/test_real.py": PROCESSES,
    "measures/test_coverage.py": LONG,
    "measures/test_invented.py": PROCESSES,
    "measures/test_asked.py": LONG,
    "measures/test_between_readings.py": LONG,
    "measures/test_given_back.py": LONG,
    "measures/test_overloaded.py": LONG,
    "measures/test_quiet_ends.py": LONG,
    "measures/test_restarts_at_edges.py": LONG,
    "measures/test_restarts_between_readings.py": LONG,
    "measures/test_restarts_in_dips.py": LONG,
    "measures/test_second_looks.py": LONG,
    "measures/test_several_outputs.py": LONG,
    "physics/loads/test_dc_motor.py": JUDGE,
    "physics/loads/test_new_load.py": LONG,
    "physics/test_arrays.py": PROCESSES,
    "physics/test_energy.py": LONG,
    "physics/test_equations.py": LONG,
    "physics/test_rosenbrock.py": LONG,
    "physics/test_start_up.py": LONG,
    "recordings/test_damage.py": LONG,
    "recordings/test_memory.py": PROCESSES,
    "records/test_log.py": REAL_TIME,
    "records/test_readings.py": REAL_TIME,
    "records/test_stored.py": REAL_TIME,
    "rehearsal/test_ensemble.py": LONG,
    "report/test_build.py": PROCESSES,
    "report/test_document.py": DRAWN,
    "report/test_drawn.py": DRAWN,
    "report/test_ending.py": DRAWN,
    "report/test_plots.py": LONG,
    "report/test_sheet.py": DRAWN,
    "report/test_wiring.py": DRAWN,
    "running/test_conflicts.py": LONG,
    "running/test_gate_and_drain.py": LONG,
    "running/test_hostile.py": REAL_TIME,
    "running/test_interruption.py": PROCESSES,
    "running/test_lists.py": REAL_TIME,
    "running/test_one_bench.py": REAL_TIME,
    "running/test_one_command_a_message.py": REAL_TIME,
    "running/test_progress_that_fails.py": REAL_TIME,
    "running/test_restarts.py": LONG,
    "running/test_rig.py": REAL_TIME,
    "running/test_runner.py": REAL_TIME,
    "running/test_waiting.py": REAL_TIME,
    "running/test_within_a_program.py": PROCESSES,
    "first_power": LONG,
    "settings/hookup/test_benches.py": LONG,
    "records/test_damaged.py": LONG,
    "running/test_latched.py": PLAYED,
    "running/test_masters.py": PLAYED,
    "running/test_proved.py": PLAYED,
    "running/test_watchdogs.py": PLAYED,
    "settings/hookup/test_largest.py": LONG,
    "settings/hookup/test_random.py": LONG,
    "settings/test_rehearsed.py": LONG,
    "settings/test_unlike_series.py": JUDGE,
    "settings/windows/test_cases.py": LONG,
    "settings/windows/test_tight.py": LONG,
    "twin/test_launcher.py": REAL_TIME,
    "twin/test_virtual_network.py": LONG,
    "waveforms/test_fit_lines.py": LONG,
}
"""Folder or file of tests -> why `make test-fast` leaves it out."""

QUICK = "not slow and not alone"
"""The marker expression of `make test-fast`."""

ALONE = "alone"
"""The marker expression of what `make test` plays in real time."""

_PATHS = frozenset(TESTS / name for name in SLOW)


@cache  # asked of every test
def is_slow(path: Path) -> bool:
    return not _PATHS.isdisjoint((path, *path.parents))


def has_alone(path: Path) -> bool:
    """Whether a file of tests, or some file of a folder, marks a test as working against real time."""
    return path.is_dir() or "pytest.mark.alone" in path.read_text("utf-8")
