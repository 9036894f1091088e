"""The guided set-up as pages of its own: there is no practice file yet, so nothing of the other pages is needed."""
