"""Rulebooks: packs as layers, and which duties follow from what.

Concern: what must be done, when, and who says so. In: TOML packs and the practice's own layer. Out: a Rulebook, each
value with its source, how sure it is, and what it overrides. Never loosens a floor in silence.
"""
