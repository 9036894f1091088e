"""The token in every form, put there when a template is read: no page can forget it."""

import re
from typing import Final

from jinja2.ext import Extension

from fettlebook.web.people import TOKEN

FORM: Final = re.compile(r"""<form\b(?=[^>]*\bmethod=["']?post\b)(?:[^>{]|\{\{.*?\}\}|\{%.*?%\})*>""", re.IGNORECASE)
FIELD: Final = '{% if visit().token %}<input type="hidden" name="' + TOKEN + '" value="{{ visit().token }}">{% endif %}'


class SignedForms(Extension):
    """Puts the device's token as first field into each form that posts."""

    def preprocess(self, source: str, name: str | None, filename: str | None = None) -> str:
        """Return the template with the field in its forms."""
        return FORM.sub(lambda form: form[0] + FIELD, source)
