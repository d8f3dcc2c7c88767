"""`python -m railwright.guard`: the guard's process."""

from railwright.guard.process import main

main()
