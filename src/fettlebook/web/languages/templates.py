"""Templates in the language of the request: `_`, `{% trans %}`, and whatever text of the lower floors is put into a page."""

from collections.abc import Iterable
from typing import Any

from jinja2 import Environment, pass_context, pass_eval_context
from jinja2.filters import do_join
from jinja2.nodes import EvalContext
from jinja2.runtime import Context
from markupsafe import Markup

from fettlebook.said import Said
from fettlebook.web.languages.tongue import LANGUAGES, tongue


def speak_in(templates: Environment) -> None:
    """Let an environment with jinja2's i18n extension speak the language of each request."""
    templates.newstyle_gettext = True  # type: ignore[attr-defined]  # of the extension
    templates.globals |= {"gettext": _gettext, "_": _gettext, "ngettext": _ngettext, "languages": LANGUAGES, "tongue": tongue}
    templates.filters |= {"say": _say, "capital": _capital, "join": _join}
    templates.finalize = lambda value: tongue().say(value)


def _say(value: Any) -> Any:
    """Return a word that stands in a catalog, such as one of an enumeration, in the reader's language."""
    return tongue().look_up(value) if type(value) is str else tongue().say(value)


def _capital(value: str) -> str:
    """Return a text with its first letter large."""
    text: str = _say(value)
    return text[:1].upper() + text[1:]


@pass_eval_context
def _join(context: EvalContext, values: Iterable[Any], between: str = "", attribute: str | None = None) -> str:
    """Join as jinja2 does, each part said."""
    parts = (getattr(value, attribute) for value in values) if attribute else values
    text: str = do_join(context, [tongue().say(part) for part in parts], str(tongue().say(between)))
    return text


@pass_context
def _gettext(context: Context, template: str, **values: Any) -> str:
    # A text of the lower floors knows more than its English letters.
    text = tongue().say(template) if isinstance(template, Said) else tongue().look_up(template)
    return _put(context, text, values)


@pass_context
def _ngettext(context: Context, one: str, many: str, n: int, **values: Any) -> str:
    return _put(context, tongue().look_up_count(one, many, n), {"num": n, "n": n, **values})


def _put(context: Context, text: str, values: dict[str, Any]) -> str:
    told: dict[str, Any] = {name: _told(value) for name, value in values.items()}
    if not context.eval_ctx.autoescape:
        return text % told
    return Markup(text) % told  # noqa: S704 - the text is the program's or the catalog's; what is put in is escaped by Markup


def _told(value: Any) -> Any:
    return tongue().number(value) if isinstance(value, float) else tongue().say(value)
