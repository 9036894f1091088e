"""An invented practice and its invented day, for demos, docs and tests. Nothing here is a fact of the trade."""
