"""TLS in the house: the practice's own authority, the server's certificate from it, and the pages that walk a tablet through trusting it.

Comes in: names and addresses. Goes out: files in a folder beside the book, and the pages of trust. The authority's key never leaves
that folder.
"""
