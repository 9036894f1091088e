"""Pure functions on numbers and arrays: water, wash-out, circuits. Numbers in, numbers out; SI inside. Never reads a file or a clock."""
