"""Entries and their stores. What happened goes in, and is never changed; later entries mend earlier ones.

In come facts and the time at which they were received; out come the same facts in one order, with what proves that none was
changed, lost or put in afterwards. This package never judges what an entry means for a chair, and reads no clock.
"""
