"""The day as a scheduling problem: instance in, checked plan out. Pure functions plus the solver; never drops a visit in silence."""
