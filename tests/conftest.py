"""What pytest leaves alone: the browser's tests where its driver, a tool of developers, is not installed."""

from importlib.util import find_spec

collect_ignore = [] if find_spec("playwright") else ["browser"]
