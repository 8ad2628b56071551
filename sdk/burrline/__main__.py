"""``python -m burrline``: the command line without the installed script."""

from burrline.cli import main

if __name__ == "__main__":
    raise SystemExit(main())
