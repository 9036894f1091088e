"""Today's visits: each begins and ends with a touch, and the sets that were used are named."""

from fettlebook.web.visits.routes import visit_routes

__all__ = ["visit_routes"]
