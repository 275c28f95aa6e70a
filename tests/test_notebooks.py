"""The notebooks run from top to bottom, show something in every code cell that ends in a value, and
hold no warnings.
"""

from __future__ import annotations

from pathlib import Path

import nbformat
import pytest
from nbclient import NotebookClient

NOTEBOOKS = sorted((Path(__file__).parents[1] / "notebooks").glob("*.ipynb"))


def test_there_are_notebooks() -> None:
    assert len(NOTEBOOKS) >= 3


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_notebook_runs(path: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    root = path.parents[1]
    monkeypatch.setenv("PYTHONPATH", str(root))
    work = tmp_path / "notebooks"  # what a notebook writes goes beside a copy of the scenarios, not into the tree
    work.mkdir()
    (tmp_path / "scenarios").symlink_to(root / "scenarios", target_is_directory=True)
    notebook = nbformat.read(path, as_version=4)
    NotebookClient(notebook, timeout=120, kernel_name="python3", resources={"metadata": {"path": str(work)}}).execute()
    code = [cell for cell in notebook.cells if cell.cell_type == "code"]
    shown = [output for cell in code for output in cell.outputs]
    assert not [
        output
        for output in shown
        if output.output_type == "stream" and output.name == "stderr" and "Warning" in output.text
    ]
    html = [output.data["text/html"] for output in shown if "text/html" in output.get("data", {})]
    assert html and all("mathjax_ignore" in text for text in html)
    pictures = [text for text in html if text.startswith("<img")]
    assert pictures and all('alt="' in text and "data:image/svg+xml," in text for text in pictures)
    assert all(cell.outputs for cell in code[1:])


def test_the_page_is_written(tmp_path: Path) -> None:
    """The last notebook's file is the page itself: written by the same call, one file, nothing beside it."""
    import equipdecide as ed

    comparison = ed.compare(ed.load(NOTEBOOKS[0].parents[1] / "scenarios" / "first_sale.yaml"))
    page = ed.brief(comparison, tmp_path / "brief.html")
    assert (tmp_path / "brief.html").read_text(encoding="utf-8") == page
    assert [file.name for file in tmp_path.iterdir()] == ["brief.html"]


def test_the_published_example_prints_both_figures_and_they_agree(monkeypatch: pytest.MonkeyPatch) -> None:
    """Sullivan, Wicks and Koelling, Engineering Economy: present worth of the defender -16,076, to
    the last digit printed.
    """
    path = next(path for path in NOTEBOOKS if path.stem == "5_a_published_example")
    monkeypatch.setenv("PYTHONPATH", str(path.parents[1]))
    notebook = nbformat.read(path, as_version=4)
    NotebookClient(
        notebook, timeout=120, kernel_name="python3", resources={"metadata": {"path": str(path.parent)}}
    ).execute()
    said = [
        output.text
        for cell in notebook.cells
        if cell.cell_type == "code"
        for output in cell.outputs
        if output.get("name") == "stdout"
    ]
    printed, computed = (float(line.split(":")[1].split()[0].replace(",", "")) for line in said[-1].splitlines())
    assert printed == -16_076
    assert abs(computed - printed) <= 0.5 and computed != printed
