"""Runs a notebook in a fresh kernel, strictly: NOTEBOOK EXECUTED HTML KERNEL SECONDS_A_CELL.

An error, a panic, a `?` on an error (these reach only stderr) or any other line on stderr stops the run. What was
executed until then is written all the same, so that one can look at it; each file whole or not at all.
"""
import os
import sys
from pathlib import Path

import nbformat
from nbclient import NotebookClient
from nbclient.exceptions import CellExecutionError, CellTimeoutError, DeadKernelError
from nbconvert import HTMLExporter


def write_whole(path, text):
    partial = path.with_name(path.name + ".partial")
    partial.write_text(text, encoding="utf-8")
    os.replace(partial, path)


def what_went_wrong(cell):
    for output in cell.get("outputs", []):
        if output.output_type == "error":
            return output.evalue or "\n".join(output.traceback)
        if output.output_type == "stream" and output.name == "stderr":
            return output.text.strip()
    return None


class CellFailed(Exception):
    pass


def main():
    source, executed, html, kernel, seconds = sys.argv[1:]
    source = Path(source)
    try:
        notebook = nbformat.read(source, as_version=4)
    except Exception as error:
        sys.exit(f"error: {source}: this is not a notebook that can be read: {error}")
    cells = [i for i, cell in enumerate(notebook.cells) if cell.cell_type == "code"]

    async def told(cell, cell_index, **_):
        if cell_index in cells:
            print(f"cell {cells.index(cell_index) + 1} of {len(cells)}", file=sys.stderr, flush=True)

    async def looked_at(cell, cell_index, **_):
        wrong = what_went_wrong(cell)
        if wrong:
            raise CellFailed(f"{source}, cell {cells.index(cell_index) + 1}: {wrong}")

    client = NotebookClient(
        notebook,
        kernel_name=kernel,
        timeout=int(seconds),
        startup_timeout=120,
        allow_errors=True,
        on_cell_start=told,
        on_cell_executed=looked_at,
        resources={"metadata": {"path": str(source.resolve().parent)}},
    )
    failed = None
    try:
        client.execute()
    except CellFailed as error:
        failed = str(error)
    except CellTimeoutError:
        failed = f"{source}: a cell took longer than {seconds} s; give it more with --cell-limit"
    except (CellExecutionError, DeadKernelError) as error:
        failed = f"{source}: {error}"
    write_whole(Path(executed), nbformat.writes(notebook))
    exporter = HTMLExporter(embed_images=True)
    # Nothing is fetched when the page is opened.
    exporter.mathjax_url = exporter.require_js_url = ""
    body, _ = exporter.from_notebook_node(notebook, {"metadata": {"name": source.stem}})
    write_whole(Path(html), body)
    if failed:
        print(f"error: {failed}", file=sys.stderr)
        sys.exit(1)


main()
