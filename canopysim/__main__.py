"""``python -m canopysim``."""

from canopysim.cli import main

if __name__ == "__main__":
    main()
