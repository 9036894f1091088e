"""Pages and API. No rule and no formula lives here.

Concern: showing. In: the practice file, the appointment book, the book of entries, a clock. Out: pages, the printable
sheet, exports, and entries of what was read and planned. Never: a name from the calendar, an address beyond this
machine, a wait of a page for the planner.
"""
