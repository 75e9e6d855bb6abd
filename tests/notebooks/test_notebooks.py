"""The notebooks run from top to bottom and are committed without output."""

from pathlib import Path

import pytest

NOTEBOOKS = sorted((Path(__file__).parents[2] / "notebooks").glob("*.ipynb"))


def read(path):
    import nbformat

    return nbformat.read(path, as_version=4)


@pytest.mark.notebook
@pytest.mark.filterwarnings("default")  # the kernel's own libraries warn about event loops and ports
@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_notebook_runs(path, tmp_path):
    from nbclient import NotebookClient

    notebook = read(path)
    NotebookClient(
        notebook, timeout=300, kernel_name="python3", resources={"metadata": {"path": path.parent}}
    ).execute()
    assert any(cell.get("outputs") for cell in notebook.cells)


@pytest.mark.notebook
@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_notebook_has_no_output(path):
    for cell in read(path).cells:
        assert not cell.get("outputs"), f"{path.name}: committed with output; clear it"
        assert cell.get("execution_count") is None
