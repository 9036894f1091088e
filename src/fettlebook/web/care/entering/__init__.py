"""What the assistant enters by hand about water, suction, surfaces, parts and products: short forms, each one entry in the book.

In: what was typed, the practice file, the book. Out: entries through the door, by who is signed in. No figure is judged here.
"""

from fettlebook.web.care.entering.routes import entering_routes

__all__ = ["entering_routes"]
