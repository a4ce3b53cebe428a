"""Runs a notebook with nbclient, checks it against the official nbformat schema, and prints its outputs as JSON.

JUPYTER_PATH says where the kernel is installed. Arguments: notebook, folder to run in.
"""

import json
import sys

import nbformat
from nbclient import NotebookClient

notebook = nbformat.read(sys.argv[1], as_version=4)
NotebookClient(notebook, kernel_name="nightyield", timeout=120, resources={"metadata": {"path": sys.argv[2]}}).execute()
nbformat.validate(notebook)
cells = [c for c in notebook.cells if c.cell_type == "code"]
text = lambda o: o.get("text", "") if o.output_type == "stream" else o.data["text/plain"]
print(json.dumps([["".join(text(o)) for o in c.outputs] for c in cells]))
