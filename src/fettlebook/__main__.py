"""`python -m fettlebook`: the same as the command `fettlebook`."""

from fettlebook.cli import main

main()
