"""Every notebook runs from start to end, as a reader would run it, and says nothing on standard error."""

from __future__ import annotations

from pathlib import Path

import nbformat
import pytest
from nbclient import NotebookClient

FOLDER = Path(__file__).resolve().parents[2] / "python" / "notebooks"
NOTEBOOKS = sorted(FOLDER.glob("*.ipynb"))


def test_the_three_notebooks_are_there() -> None:
    assert len(NOTEBOOKS) >= 3


@pytest.mark.filterwarnings("ignore")  # those of the notebook's own machinery
@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_notebook(path: Path) -> None:
    notebook = nbformat.read(path, as_version=4)
    stored = [cell for cell in notebook.cells if cell.get("outputs") or cell.get("execution_count")]
    assert not stored, "a notebook is kept without outputs"
    NotebookClient(notebook, timeout=120, resources={"metadata": {"path": str(FOLDER)}}).execute()
    code = [cell for cell in notebook.cells if cell.cell_type == "code"]
    assert all(cell.outputs for cell in code[1:])
    for cell in code:
        for output in cell.outputs:
            assert output.output_type != "error"
            assert output.get("name") != "stderr", output.get("text")
