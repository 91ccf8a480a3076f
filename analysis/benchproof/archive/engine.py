"""papermill's own engine, handing over the executed notebook instead of having it written and read again.

papermill ends a run by writing the notebook, which takes longer than what the machinery does otherwise: the encoder for
indented JSON is slow, and outputs are megabytes.
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any, Final

from nbformat import NotebookNode
from nbformat.v4.rwbase import split_lines, strip_transient
from papermill.engines import NBClientEngine, papermill_engines

if TYPE_CHECKING:
    from papermill.engines import NotebookExecutionManager

NAME: Final = "benchproof"
"""What papermill knows the engine by."""


class HandingOver(NBClientEngine):  # type: ignore[misc]  # papermill has no types
    """Runs a notebook as papermill's engine does; papermill then writes it only where a cell has failed."""

    @classmethod
    def execute_managed_notebook(
        cls, nb_man: NotebookExecutionManager, kernel_name: str, *, handed: list[NotebookNode], **kwargs: Any
    ) -> None:
        """Run the cells.

        Parameters
        ----------
        nb_man : NotebookExecutionManager
            papermill's hold of the notebook.
        kernel_name : str
            The kernel.
        handed : list
            Gets the executed notebook, unless a cell failed.
        **kwargs : Any
            What papermill's engine takes.
        """
        super().execute_managed_notebook(nb_man, kernel_name, **kwargs)
        notebook = nb_man.nb
        if notebook.metadata.papermill.get("exception"):
            return
        handed.append(notebook)
        bare = [NotebookNode({**cell, **({"outputs": []} if "outputs" in cell else {})}) for cell in notebook.cells]
        nb_man.nb = NotebookNode({**notebook, "cells": bare})


papermill_engines.register(NAME, HandingOver)


def as_written(notebook: NotebookNode) -> dict[str, Any]:
    """Return a notebook as its file would hold it; the notebook itself is not to be used any more."""
    record: dict[str, Any] = json.loads(json.dumps(strip_transient(split_lines(notebook)), sort_keys=True))
    return record
