"""How the guide is made into a site: `sphinx-build -W docs site`."""

import re
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
sys.path.insert(0, str(Path(__file__).resolve().parent))

import tables

import portgeo

project = "portgeo"
author = "the portgeo authors"
version = release = portgeo.__version__
extensions = ["myst_parser", "sphinx.ext.autodoc"]
myst_heading_anchors = 3
myst_enable_extensions = ["html_image"]  # a picture shows in the pages as they are, too
exclude_patterns = ["pictures", "ISSUE_TEMPLATE.md", "PULL_REQUEST_TEMPLATE.md", "CONTRIBUTING.md"]
autodoc_typehints = "none"  # the signature's own types are long; the parameters say them in words
html_theme = "furo"
html_title = "portgeo"
html_show_sphinx = False
html_show_copyright = False
html_copy_source = False
html_show_sourcelink = False
html_static_path = ["style"]
html_css_files = ["guide.css"]
html_theme_options = {
    "light_css_variables": {"color-brand-primary": "#1c5a8a", "color-brand-content": "#1c5a8a"},
    "dark_css_variables": {"color-brand-primary": "#7db8e0", "color-brand-content": "#7db8e0"},
}
HEADINGS = ("Parameters", "Returns", "Raises", "Examples")


def fill(app, docname, source):
    """Hold a page's tables to the code, and put the library's docstrings where they belong."""
    source[0] = tables.filled(source[0]).replace("<!-- each function's docstring -->\n", tables.library())


def docstring(app, what, name, obj, options, lines):
    """Give the sections of a docstring, and the `name : what it is` lines in them, a shape that Sphinx knows."""
    made, section = [], ""
    lines[:] = [part for line in lines for part in re.sub(r"\. (?=\w+Error : )", ".\n", line).split("\n")]
    for k, line in enumerate(lines):
        entry = re.match(r"^([\w, ]+) : (.*)$", line)
        if line in HEADINGS and k + 1 < len(lines) and set(lines[k + 1]) == {"-"}:
            section = line
            made += ["", f"**{line}**", ""]
        elif set(line) == {"-"} and lines[k - 1] == section:
            continue
        elif section in ("Parameters", "Raises") and entry:
            made.append(f"* ``{entry[1].replace(', ', '``, ``')}``: {entry[2]}")
        elif section in ("Parameters", "Raises") and line.strip():
            made.append(f"  {line.strip()}")
        else:
            made.append(line)
    lines[:] = made


def setup(app):
    app.connect("source-read", fill)
    app.connect("autodoc-process-docstring", docstring)
