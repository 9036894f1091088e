"""Is all in order with the machine that keeps the book? Each thing that can go wrong is looked at; what is wrong says how to mend it."""
