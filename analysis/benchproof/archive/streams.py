"""What a cell prints, on its way out of a kernel."""

from __future__ import annotations

from ipykernel.iostream import OutStream


class PromptStream(OutStream):
    """ipykernel's stream, which waits for its sending thread only where something was printed.

    A kernel flushes both of its streams before everything it displays, and the wait costs more than the display.
    """

    _printed = False

    def write(self, string: str) -> int | None:  # type: ignore[override]
        """Take a text to send."""
        self._printed = True
        return super().write(string)

    def flush(self) -> None:
        """See that what was printed is sent before anything else."""
        if self._printed:
            self._printed = False
            super().flush()  # type: ignore[no-untyped-call]
