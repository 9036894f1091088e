"""fettlebook: running times, day plan and proof for keeping dental chairs and instruments safe."""

__version__ = "0.1.0"
