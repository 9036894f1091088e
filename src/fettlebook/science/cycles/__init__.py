"""Judging a machine's cycle by its own numbers: phases, criteria, leak and air-removal test, a washer's A0, drift over past cycles.

Comes in: a `CycleLog` (arrays of time, temperatures, absolute pressure) and `Criteria` (limits, each with its source and how sure it is).
Goes out: a `Judgement`: fit, unfit or unproven, with every criterion's value, limit, margin, source and moment. Never: reads a file or a
clock, guesses what a log doesn't say, or says that air removal is proven.
"""
