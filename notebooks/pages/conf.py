"""How Sphinx makes the pages: names from the package, sections by numpydoc; nothing is run, nothing is fetched."""

import sys
from pathlib import Path

import floorfit

sys.path.insert(0, str(Path(__file__).parent))

project = "floorfit"
extensions = ["sphinx.ext.autodoc", "numpydoc", "public_names"]
autodoc_member_order = "bysource"
autodoc_typehints = "none"
numpydoc_show_class_members = False
numpydoc_xref_param_type = False
default_role = "py:obj"  # a name in single backticks; one that is not public is left as it is
html_theme = "alabaster"
html_static_path: list[str] = []
html_copy_source = False
nitpicky = False
exclude_patterns: list[str] = []
release = getattr(floorfit, "__version__", "")
