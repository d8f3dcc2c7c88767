"""What ends a run: a bench of twins that outlives runs, runs in processes of their own, and what came of
them.
"""
