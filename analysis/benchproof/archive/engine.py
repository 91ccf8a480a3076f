"""papermill's own engine, handing over the executed notebook instead of having it written and read again.

papermill ends a run by writing the notebook, which takes longer than what the machinery does otherwise: the encoder for
indented JSON is slow, and outputs are megabytes.
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any, Final

from nbclient import NotebookClient
from nbclient.exceptions import CellExecutionError
from nbformat import NotebookNode
from nbformat.v4.rwbase import split_lines, strip_transient
from papermill.clientwrap import PapermillNotebookClient
from papermill.engines import Engine, papermill_engines

if TYPE_CHECKING:
    from papermill.engines import NotebookExecutionManager

NAME: Final = "benchproof"
"""What papermill knows the engine by."""

_SHOWN: Final = {"display_data": ("metadata", "data"), "execute_result": ("metadata", "data", "execution_count")}
"""Outputs that cells show, with what a notebook keeps of their messages."""


class _Client(PapermillNotebookClient):  # type: ignore[misc]  # papermill has no types
    """papermill's client without what nobody reads: times of cells, and a schema's judgement of our own displays."""

    def papermill_execute_cells(self) -> None:
        """Run the cells up to the first that fails."""
        for index, cell in enumerate(self.nb.cells):
            try:
                self.execute_cell(cell, index)
            except CellExecutionError as error:
                self.nb_man.cell_exception(cell, cell_index=index, exception=error)
                return

    def process_message(self, *arguments: Any, **named: Any) -> NotebookNode | None:
        """Take a message; no notebook is saved on the way."""
        found: NotebookNode | None = NotebookClient.process_message(self, *arguments, **named)
        return found

    def output(
        self, outs: list[NotebookNode], msg: dict[str, Any], display_id: str | None, cell_index: int
    ) -> NotebookNode | None:
        """Take a cell's output."""
        kind, content = msg["msg_type"], msg["content"]
        if kind not in _SHOWN or display_id or self.clear_before_next_output:
            usual: NotebookNode | None = super().output(outs, msg, display_id, cell_index)
            return usual
        out = NotebookNode()
        dict.update(out, {"output_type": kind}, **{name: content[name] for name in _SHOWN[kind]})
        outs.append(out)
        return out


class HandingOver(Engine):  # type: ignore[misc]
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
            ``start_timeout`` (s), and what nbclient takes; the rest is for papermill's own engine.
        """
        taken = {name: value for name, value in kwargs.items() if name in _Client.class_trait_names()}
        _Client(nb_man, kernel_name=kernel_name, startup_timeout=kwargs["start_timeout"], **taken).execute()
        notebook = nb_man.nb
        if notebook.metadata.papermill.get("exception"):
            return
        handed.append(notebook)
        nb_man.nb = NotebookNode({**notebook, "cells": []})


papermill_engines.register(NAME, HandingOver)


def as_written(notebook: NotebookNode) -> dict[str, Any]:
    """Return a notebook as its file would hold it; the notebook itself is not to be used any more."""
    record: dict[str, Any] = json.loads(json.dumps(strip_transient(split_lines(notebook)), sort_keys=True))
    return record
