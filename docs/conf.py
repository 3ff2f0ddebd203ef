"""How the site is built: `sphinx-build -W --keep-going -n docs docs/_build`. Nothing is fetched."""

import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE.parent), str(HERE / "_ext")]

from drawings import take_drawings  # noqa: E402 - found beside this file
from numpydoc import xref  # noqa: E402

import trunkwatch  # noqa: E402
from trunkwatch.charts import colours  # noqa: E402

project = "trunkwatch"
author = "trunkwatch contributors"
copyright = "trunkwatch contributors, MIT license"  # noqa: A001 - its name in Sphinx
version = release = trunkwatch.__version__
language = "en"

extensions = [
    "sphinx.ext.autodoc",
    "numpydoc",
    "myst_parser",
    "sphinx_gallery.gen_gallery",
    "sphinxcontrib.bibtex",
    "mathml",
    "from_code",
    "signatures",
]
exclude_patterns = ["_build", "gallery", "examples/**/*.ipynb", "examples/*.py", "examples/*.zip", "examples/*.json"]
source_suffix = {".rst": "restructuredtext", ".md": "markdown"}
suppress_warnings = ["config.cache"]

# Sources of the package.
autodoc_typehints = "none"  # the docstrings say shapes and units, and say them shorter
autodoc_member_order = "bysource"
numpydoc_show_class_members = False
numpydoc_use_plots = False
numpydoc_xref_param_type = True  # results link to what they hold
numpydoc_xref_aliases = {name: f"trunkwatch.stats.{name}" for name in trunkwatch.stats.__all__ if name[0].isupper()}
numpydoc_xref_ignore = "all"
xref.DEFAULT_LINKS.clear()  # Python's own types have no page here
default_role = "named"
add_module_names = False
python_use_unqualified_type_names = True

# Every name that is linked must be there, but for these.
nitpick_ignore_regex = [
    # Classes of other libraries: their sites lie on the net, and this one is built without.
    (r"py:.*", r"(pandas|numpy|pathlib|np|pd|scipy|datetime|types|typing)\..*"),
]

# Words and formulas.
myst_enable_extensions = ["colon_fence", "deflist", "dollarmath"]
myst_heading_anchors = 3
html_math_renderer = "mathml"
bibtex_bibfiles = ["references.bib"]
bibtex_default_style = "plain"
bibtex_reference_style = "author_year"

# `-t plain` builds the site without running the examples; Sphinx hands the tags in.
plot_gallery = str(not tags.has("plain"))  # noqa: F821
# Examples: each is run, and what it prints and draws stands below it.
sphinx_gallery_conf = {
    "examples_dirs": ["gallery"],
    "gallery_dirs": ["examples"],
    "filename_pattern": r"\.py$",
    "image_scrapers": (take_drawings, "matplotlib"),
    "abort_on_example_error": True,
    "only_warn_on_example_error": False,
    "capture_repr": ("_repr_html_", "__str__"),
    "ignore_repr_types": r"Picture",
    "download_all_examples": False,
    "show_memory": False,
    "show_signature": False,
    "min_reported_time": 1e9,
    "remove_config_comments": True,
    "nested_sections": False,
    "within_subsection_order": "FileNameSortKey",
    "doc_module": (),
    "write_computation_times": False,
}

html_theme = "furo"
html_title = "trunkwatch"
html_static_path = ["_static"]
html_css_files = ["ours.css"]
html_copy_source = False
html_show_sourcelink = False
html_show_sphinx = False
html_theme_options = {
    "light_css_variables": {
        "color-brand-primary": colours.DEEP,
        "color-brand-content": colours.BLUE,
        "color-brand-visited": colours.BLUE,
        "color-foreground-primary": colours.INK,
        "font-stack": "system-ui, -apple-system, 'Segoe UI', 'DejaVu Sans', sans-serif",
        "font-stack--monospace": "ui-monospace, 'DejaVu Sans Mono', monospace",
    },
    "dark_css_variables": {
        "color-brand-primary": colours.DARK[colours.DEEP],
        "color-brand-content": colours.DARK[colours.BLUE],
        "color-brand-visited": colours.DARK[colours.BLUE],
    },
}

linkcheck_ignore = [r"https?://.*"]  # links out of the site are not followed
