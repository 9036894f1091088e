"""What the book and the rulebook together say of a subject at a moment: fit, unfit or unproven.

Concern: verdicts with their conditions, the way to fit, duties due, traces and look-backs. In: entries in the order of receipt, a
practice, its rulebook and running times, two moments (judged and known). Out: values. It reads no clock and no store, never takes absence
of evidence for evidence, and never changes what was known at a past moment.
"""
