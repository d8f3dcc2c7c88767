#!/usr/bin/env bash
# All tests: run_tests.sh PYTHON [OPTIONS of pytest for the tests that do not work against real time]
#
# Tests that work against real time mostly wait: two at a time leave most of two cores idle. All others play
# meanwhile with what is left: the system lets them compute only where nobody else wants to (SCHED_IDLE), and a
# waking process takes its core from them at once. They wait for a fifth of their time, hence three of them.
# A test that works against real time and fails is played again with nothing beside it, and that decides.
set -uo pipefail

python=$1
shift
real_time=("$python" -m pytest -q -o cache_dir=.pytest_cache/real-time -m alone)
log=$(mktemp)
trap 'rm -f "$log"' EXIT

"${real_time[@]}" -n 2 --dist worksteal >"$log" 2>&1 &
beside=$!
chrt --idle 0 "$python" -m pytest -n 3 --dist worksteal -m "not alone" "$@"
others=$?
wait "$beside"
first=$?
cat "$log"
if [ "$first" -eq 1 ]; then
  "${real_time[@]}" --last-failed --last-failed-no-failures none
  first=$?
fi
[ "$others" -eq 0 ] && [ "$first" -eq 0 ]
