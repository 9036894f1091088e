"""Pages of loads, cycles, machines and what follows a failure. What they write passes the book's door, by a named person."""

from fettlebook.web.heat.routes import heat_routes

__all__ = ["heat_routes"]
