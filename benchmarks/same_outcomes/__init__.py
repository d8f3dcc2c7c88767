"""Whether two source trees come to the same outcomes; `python -m benchmarks.same_outcomes` says how."""
