"""Print the oldest versions that pyproject.toml allows, as constraints for pip."""

import re
import tomllib
from pathlib import Path

project = tomllib.loads(Path("pyproject.toml").read_text(encoding="utf-8"))["project"]
extras = [one for name in ("test", "step", "dxf", "3mf") for one in project["optional-dependencies"][name]]
for line in [*project["dependencies"], *extras]:
    found = re.match(r"([\w\-]+)>=([\d.]+)", line)
    if found:
        print(f"{found[1]}=={found[2]}")
