"""What is told at the ending of a run, by ways that its user has set up: standard library only, in a process
of its own, so that no way that hangs or fails holds up anything of a run.
"""
