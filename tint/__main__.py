"""`python -m tint`: the command line without an installed script."""

from tint.cli import main

if __name__ == "__main__":
    main()
