"""``python -m quintain`` does what ``quintain`` does."""

from quintain.cli import main

main()
