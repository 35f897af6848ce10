"""`python -m tint.cli` is `tint`."""

from tint.cli import main

if __name__ == "__main__":
    main()
