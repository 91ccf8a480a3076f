"""Models as plain data again, with quantities as they were written."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import is_dataclass
from datetime import date
from typing import Any

from pydantic import BaseModel


def plain(value: Any) -> Any:
    """Return a model as plain data with quantities as they were written; keys without a value are left out."""
    if isinstance(value, BaseModel):
        stated = [name for name in type(value).model_fields if name in value.model_fields_set]
        pairs = {name: getattr(value, name) for name in stated} | (value.model_extra or {})
        return {name: plain(item) for name, item in pairs.items() if item is not None and item != ()}
    if isinstance(value, Mapping):
        return {str(name): plain(item) for name, item in value.items()}
    if isinstance(value, Sequence) and not isinstance(value, str):
        return [plain(item) for item in value]
    if isinstance(value, date):
        return value.isoformat()
    return _written(value) if is_dataclass(value) else value


def _written(value: Any) -> str:
    """Return a quantity as it stands in the file."""
    if hasattr(value, "stated"):
        return f"{value.value.text} ({value.stated})"
    return str(value.text)
