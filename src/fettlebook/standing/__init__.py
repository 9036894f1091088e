"""What the book and the rulebook together say of a subject now. Pure fold of entries; absence of evidence is unproven."""
