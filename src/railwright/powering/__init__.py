"""One input powered by hand: the procedures that are checked and played for it, and what was done as one."""
