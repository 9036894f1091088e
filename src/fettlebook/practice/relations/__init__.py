"""What must hold between the parts of a practice file. Parts in, faults with their key paths out; no file, no line, no clock."""
