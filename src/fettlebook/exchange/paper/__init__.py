"""Paper: cards and sheets as tagged PDF, made by typst from data that are never run as source."""
