"""My work: the signed-in person's steps of the day, one at a time."""
