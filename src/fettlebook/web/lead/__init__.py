"""The lead's desk: what is overdue and comes this week, what is out of service, what runs out, and the practice file.

In: the record, the desk, what works beside the pages. Out: pages for whoever has the role lead; entries of out of service and return by
name; a practice file that was seen before it was saved, with an entry for each version. No rule and no date is reckoned here.
"""

from pathlib import Path

from fastapi import APIRouter

from fettlebook.web.arriving.watching import Watching
from fettlebook.web.desk import Desk
from fettlebook.web.lead.desk_page import desk_routes
from fettlebook.web.lead.file_pages import file_routes
from fettlebook.web.pages import Pages
from fettlebook.web.people.people import People
from fettlebook.web.record import Record

__all__ = ["lead_desk_routes"]


def lead_desk_routes(
    pages: Pages, record: Record, desk: Desk, people: People, *, practice_file: Path | None, watching: Watching | None
) -> tuple[APIRouter, ...]:
    """Return the routes of the desk, and of the practice file where there is one to change."""
    of_desk = desk_routes(pages, record, watching, with_file=practice_file is not None)
    return (of_desk,) if practice_file is None else (of_desk, file_routes(pages, record, desk, people, practice_file))
