"""Pages of what keeps the water good: treatments, suction and surfaces, strips, taps, parts that last for so long, stock.

In: the book as `standing` judges it. Out: pages under `/water`, each table as CSV. No figure is made here.
"""

from fettlebook.web.care.routes import care_routes

__all__ = ["care_routes"]
