"""Entries and their stores. What happened goes in, and is never changed; later entries mend earlier ones."""
