"""The page of a group: its practices in one table, without anything of a patient or a person."""
