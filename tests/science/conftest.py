"""No deadline for properties here: the first call reads a table, and the machine may be shared."""

from hypothesis import settings

settings.register_profile("science", deadline=None, max_examples=50)
settings.load_profile("science")
