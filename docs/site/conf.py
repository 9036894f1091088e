"""How the pages of docs/ become a site that can be read, searched and printed without a network."""

project = "fettlebook"
author = "the fettlebook authors"
extensions = ["myst_parser"]
myst_heading_anchors = 4  # links to a heading of another page
exclude_patterns = ["site"]
html_theme = "furo"
html_title = "fettlebook"
html_static_path = ["static"]
html_css_files = ["house.css"]
html_show_sphinx = False
html_copy_source = False
html_show_sourcelink = False
html_theme_options = {"light_css_variables": {"color-brand-primary": "#0f5a52", "color-brand-content": "#0f5a52"}}
suppress_warnings: list[str] = []  # none: a warning is an error
nitpicky = True
linkcheck_ignore = [r"https?://.*"]  # checked are links within; nothing is fetched
html_use_index = False  # nothing is indexed by hand; the search finds every word
if tags.has("print"):  # type: ignore[name-defined]  # noqa: F821 - given by Sphinx: all pages as one, which needs no way around
    html_sidebars: dict[str, list[str]] = {"**": []}


def setup(app) -> None:  # type: ignore[no-untyped-def]
    """Let a page that nobody has given its place in docs/index.md yet stand at its end, so that no page is lost."""

    def put_rest(app, name: str, source: list[str]) -> None:  # type: ignore[no-untyped-def]
        if name == "index":
            listed = set(source[0].split())
            rest = sorted(page for page in app.env.found_docs if page not in listed and page != "index")
            block = "\n".join(["```{toctree}", ":caption: More", ":maxdepth: 1", *rest, "```"]) if rest else ""
            source[0] = source[0].replace("<!-- the rest -->", block)

    app.connect("source-read", put_rest)
