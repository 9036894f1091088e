"""The practice file as frozen models, and its validation. TOML text in, a Practice or findings out. Never guesses a missing value."""
