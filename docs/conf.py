"""How these pages become HTML: deploy/docs.sh. Nothing is fetched, then or when read."""

import logging

project = "graftvigil"
author = "the authors of graftvigil"
extensions = ["myst_parser"]
source_suffix = {".md": "markdown"}
root_doc = "index"
language = "en"

myst_heading_anchors = 4
nitpicky = True
smartquotes = False

html_theme = "alabaster"
html_title = "graftvigil"
html_static_path = ["style"]
html_css_files = ["pages.css"]
html_copy_source = False
html_show_copyright = False
html_show_sphinx = False
html_theme_options = {
    "description": "Watches grafted trees day and night, and warns in time",
    "page_width": "1100px",
    "sidebar_width": "240px",
    "fixed_sidebar": False,
    "show_powered_by": False,
    # Fonts of the reader's own machine: the theme's first choices may be nowhere else.
    "font_family": "system-ui, sans-serif",
    "head_font_family": "system-ui, sans-serif",
    "link": "#1f5f8b",
    "link_hover": "#a8431f",
    "body_text": "#22302a",
    "sidebar_search_button": "#22302a",
    "gray_1": "#4a5650",
    "code_font_size": "0.85em",
}
html_sidebars = {"**": ["about.html", "searchfield.html", "navigation.html"]}


def _is_of_a_page(record: logging.LogRecord) -> bool:
    return getattr(record, "subtype", "") != "empty_glob"


# index.md may name a page before it is there, as `planning*`. Sphinx gives that warning no type, so
# `suppress_warnings` does not reach it.
logging.getLogger("sphinx.sphinx.directives.other").addFilter(_is_of_a_page)
