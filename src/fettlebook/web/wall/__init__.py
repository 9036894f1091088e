"""The wall board: every chair, machine and set type at this moment, kept up by server-sent events.

In: the record, the desk's plan of today, who may look. Out: a page, the part of it that changes, and a stream of that part. What it shows
is worked out in `plan.wall`; nothing is judged here.
"""

from fettlebook.web.wall.routes import wall_routes

__all__ = ["wall_routes"]
