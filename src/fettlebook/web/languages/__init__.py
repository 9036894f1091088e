"""The languages of the pages: which one a request is answered in, and texts, days and numbers in it.

In: a cookie of the device, what the browser prefers, templates and the lower floors' `Said` texts. Out: texts of the page. The catalogs are
`.po` files beside this text, read at the first page in their language; `scripts/languages` keeps them in step with the code. A text
without a translation stays English: the program never leaves a person without the words.
"""

from fettlebook.web.languages.tongue import LANGUAGES, Tongue, tongue

__all__ = ["LANGUAGES", "Tongue", "tongue"]
