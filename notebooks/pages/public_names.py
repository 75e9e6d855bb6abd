"""A directive that documents public names of floorfit: ``.. public:: correct Result``."""

from docutils import nodes
from docutils.statemachine import StringList
from sphinx.util.docutils import SphinxDirective

import floorfit


class Public(SphinxDirective):
    """Document each name that stands behind it, a class with its own members."""

    required_arguments = 1
    final_argument_whitespace = True

    def run(self) -> list[nodes.Node]:
        """Return what autodoc makes of the names."""
        lines: list[str] = []
        for name in self.arguments[0].split():
            if isinstance(getattr(floorfit, name), type):
                lines += [f".. autoclass:: floorfit.{name}", "   :members:", "   :exclude-members: model_config", ""]
            else:
                lines += [f".. autofunction:: floorfit.{name}", ""]
        self.state.nested_parse(StringList(lines, "public"), self.content_offset, node := nodes.container())
        return node.children


def setup(app) -> dict[str, bool]:
    """Add the directive."""
    app.add_directive("public", Public)
    return {"parallel_read_safe": True}
