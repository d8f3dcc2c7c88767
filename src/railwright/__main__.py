"""`python -m railwright` is `railwright`."""

from railwright.cli import main

if __name__ == "__main__":
    main()
