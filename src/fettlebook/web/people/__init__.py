"""People at the pages: who signs in where, what each role may do, and which devices were let in.

Comes in: requests, and the practice file's people. Goes out: `SignedIn` for the routes, and entries that say who came and went.
It never puts a PIN, a badge or a device's secret into the book or an export.
"""
