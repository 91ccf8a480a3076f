"""Reading YAML once, by the rules of papermill's loader, with the line of every field.

Papermill reads the campaign file itself when the notebook is run by hand, so the checker must see the
very same values: PyYAML's YAML 1.1 rules without dates. Where those rules bend what a person meant (``012``
is ten, ``no`` is false, ``1:30`` is ninety, of two equal keys the last wins) the file is refused with the
form to write.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import yaml as pyyaml
from yaml.nodes import MappingNode, Node, ScalarNode, SequenceNode
from yaml.reader import Reader

from benchproof.campaign.units import shortened
from benchproof.errors import Fault, InputError

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping
    from pathlib import Path

Step = str | int
"""A key or a position in a list."""

_BASE: Final[Any] = getattr(pyyaml, "CSafeLoader", pyyaml.SafeLoader)
_PREFIX: Final = "tag:yaml.org,2002:"
_LARGEST: Final = 1_000_000
_DEEPEST: Final = 24
_MOST: Final = 100_000
_MOST_FAULTS: Final = 50
_PLAIN_INT: Final = re.compile(r"[-+]?(?:0|[1-9][0-9]{0,17})")
_PLAIN_FLOAT: Final = re.compile(r"[-+]?[0-9]*\.[0-9]*(?:[eE][-+][0-9]+)?")
_MARK: Final = "\N{BYTE ORDER MARK}"
_BOOLEANS: Final = frozenset({"true", "True", "TRUE", "false", "False", "FALSE"})


class _TooDeepError(Exception):
    """Raised inside the composer at the node that lies too deep."""

    def __init__(self, line: int) -> None:
        super().__init__(line)
        self.line = line


class PapermillRules(_BASE):  # type: ignore[misc]
    """PyYAML's safe loader without dates, as papermill's own loader is; limits nesting while composing."""

    yaml_implicit_resolvers: Final = {
        letter: [(tag, pattern) for tag, pattern in resolvers if tag != f"{_PREFIX}timestamp"]
        for letter, resolvers in pyyaml.SafeLoader.yaml_implicit_resolvers.items()
    }
    _depth = 0

    def descend_resolver(self, current_node: Node | None, current_index: object) -> None:
        """Count the level; the composer calls this before every node."""
        self._depth += 1
        if self._depth > _DEEPEST:
            raise _TooDeepError(current_node.start_mark.line + 1 if current_node else 1)
        super().descend_resolver(current_node, current_index)

    def ascend_resolver(self) -> None:
        """Leave the level."""
        self._depth -= 1
        super().ascend_resolver()


@dataclass(frozen=True, slots=True)
class Places:
    """Where each field stands in its file.

    Parameters
    ----------
    file : str
        The file, relative to the workspace.
    lines : mapping of path to int
        Line number, counted from 1, of each field by its path of keys and positions.
    """

    file: str
    lines: Mapping[tuple[Step, ...], int]

    def line(self, path: tuple[Step, ...]) -> int | None:
        """Return the line of the field, or of the nearest field around it."""
        for length in range(len(path), -1, -1):
            if (found := self.lines.get(path[:length])) is not None:
                return found
        return None


@dataclass(frozen=True, slots=True)
class Document:
    """A composed file.

    Parameters
    ----------
    values : dict
        The values, exactly as papermill's loader gives them.
    places : Places
        The line of every field.
    """

    values: dict[str, Any]
    places: Places


def written(path: tuple[Step, ...]) -> str:
    """Return a path as people write it: ``tests[2].readings[0]``."""
    text = ""
    for step in path:
        text += f"[{step}]" if isinstance(step, int) else f".{shortened(step, 40)}"
    return text.removeprefix(".")


def read_text(path: Path, file: str) -> str:
    """Return the text of a UTF-8 file of at most a megabyte.

    Raises
    ------
    InputError
        If there is no such file, or it cannot be read as text.
    """
    try:
        with path.open("rb") as stream:
            content = stream.read(_LARGEST + 1)
    except FileNotFoundError:
        raise InputError(
            Fault(file, "", "no such file", "a file with that name", "Write the file, or correct the name.")
        ) from None
    except OSError as error:
        raise InputError(
            Fault(file, "", f"a file that cannot be read ({error.strerror})", "a readable file", "Check it.")
        ) from None
    return _decoded(content, file)


def _decoded(content: bytes, file: str) -> str:
    if len(content) > _LARGEST:
        raise InputError(
            Fault(file, "", "more than 1 MB", "a text file of a few pages", "Keep measured data in raw/*.csv.")
        )
    try:
        return content.decode("utf-8")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        found = f"the byte 0x{content[error.start]:02x}, which is not UTF-8"
        raise InputError(Fault(file, "", found, "text in UTF-8", "Save the file as UTF-8.", line)) from None


def compose(path: Path, file: str) -> Document:
    """Read a YAML file of the workspace.

    Parameters
    ----------
    path : Path
        The file.
    file : str
        How errors name it: relative to the workspace.

    Raises
    ------
    InputError
        With all duplicate keys, bent scalars and other faults of form.
    """
    return compose_text(read_text(path, file), file)


def compose_text(text: str, file: str) -> Document:
    """Read YAML text; see `compose`."""
    _refuse_letters(text, file)
    loader = PapermillRules(text)
    try:
        root = _composed(loader, file)
        faults = list(_survey(root, file))
        if faults:
            raise InputError(*faults[:_MOST_FAULTS])
        values = _constructed(loader, root, file)
    finally:
        loader.dispose()
    return Document(values, Places(file, dict(_lines(root, ()))))


def _refuse_letters(text: str, file: str) -> None:
    """Refuse control characters, and marks and tabs, on which the readers of YAML disagree."""
    unprintable = Reader.NON_PRINTABLE.search(text)
    at = unprintable.start() if unprintable else text.find(_MARK, 1)
    if at >= 0:
        line = text.count("\n", 0, at) + 1
        found = f"the invisible character U+{ord(text[at]):04X}"
        raise InputError(Fault(file, "", found, "printable text", "Delete the character.", line))
    tabs = [number for number, line in enumerate(text.split("\n"), 1) if "\t" in line]
    if tabs:
        raise InputError(
            *(
                Fault(file, "", "a tab", "spaces", "Replace the tab by spaces; YAML forbids tabs here.", line)
                for line in tabs[:_MOST_FAULTS]
            )
        )


def _composed(loader: Any, file: str) -> MappingNode:
    try:
        root = loader.get_single_node()
    except _TooDeepError as error:
        raise InputError(_nested(file, error.line)) from None
    except pyyaml.YAMLError as error:
        raise InputError(_syntax(error, file)) from None
    if isinstance(root, MappingNode):
        return root
    found = "an empty file" if root is None else f"a single {_kind(root)}"
    remedy = "Begin with a line such as kind: motor; `benchproof new` writes a file to start from."
    raise InputError(Fault(file, "", found, "keys with values", remedy, 1))


def _kind(node: Node) -> str:
    return "list" if isinstance(node, SequenceNode) else "text" if isinstance(node, ScalarNode) else "mapping"


def _nested(file: str, line: int) -> Fault:
    remedy = "Flatten it; an anchor must not hold itself."
    return Fault(file, "", f"more than {_DEEPEST} levels inside each other", "a few levels", remedy, line)


def _syntax(error: pyyaml.YAMLError, file: str) -> Fault:
    """Return PyYAML's complaint as a fault."""
    mark = getattr(error, "problem_mark", None) or getattr(error, "context_mark", None)
    line = mark.line + 1 if mark else 1
    parts = [getattr(error, "context", None), getattr(error, "problem", None)]
    said = ", ".join(str(part).removeprefix("found ") for part in parts if part) or "text that is not YAML"
    if "expected a single document" in said:
        return Fault(file, "", "a second document (after ---)", "one document", "Delete the --- line.", line)
    remedy = "Check indentation, colons and quotes on this line and the one before it."
    return Fault(file, "", f"{shortened(said, 110)}", "well-formed YAML", remedy, line)


class _Budget:
    """Counts the nodes of a document as anchors expand, so that a small file cannot fill the memory."""

    def __init__(self) -> None:
        self.left = _MOST

    def spend(self, node: Node, file: str) -> None:
        self.left -= 1
        if self.left < 0:
            found = f"anchors that expand to more than {_MOST} values"
            line = node.start_mark.line + 1
            raise InputError(Fault(file, "", found, "a few pages", "Write the values out.", line))


def _survey(root: MappingNode, file: str) -> Iterator[Fault]:
    """Yield every fault of form in the composed nodes."""
    budget = _Budget()
    seen: set[tuple[int, str]] = set()
    for node, path in _walk(root, (), budget, file):
        for fault in _faults_at(node, path, file):
            # An anchored node is met once for each alias; its faults are told once.
            if (key := (fault.line or 0, fault.found)) not in seen:
                seen.add(key)
                yield fault


def _walk(node: Node, path: tuple[Step, ...], budget: _Budget, file: str) -> Iterator[tuple[Node, tuple[Step, ...]]]:
    budget.spend(node, file)
    if len(path) > _DEEPEST:
        raise InputError(_nested(file, node.start_mark.line + 1))
    yield node, path
    if isinstance(node, MappingNode):
        for key, value in node.value:
            yield from _walk(value, (*path, _name(key)), budget, file)
    elif isinstance(node, SequenceNode):
        for position, item in enumerate(node.value):
            yield from _walk(item, (*path, position), budget, file)


def _name(key: Node) -> str:
    return str(key.value) if isinstance(key, ScalarNode) else f"(a {_kind(key)})"


def _faults_at(node: Node, path: tuple[Step, ...], file: str) -> Iterator[Fault]:
    place, line = written(path), node.start_mark.line + 1
    if isinstance(node, ScalarNode):
        if bent := _bent(node):
            yield Fault(file, place, *bent, line)
    elif node.tag not in (f"{_PREFIX}map", f"{_PREFIX}seq"):
        yield Fault(file, place, f"the tag {shortened(node.tag)}", "plain YAML", "Delete the tag.", line)
    if isinstance(node, MappingNode):
        yield from _key_faults(node, path, file)


def _key_faults(node: MappingNode, path: tuple[Step, ...], file: str) -> Iterator[Fault]:
    first: dict[str, int] = {}
    for key, value in node.value:
        line, name = key.start_mark.line + 1, _name(key)
        place = written((*path, name))
        if key.tag == f"{_PREFIX}merge":
            if not _mergeable(value):
                yield Fault(file, place, "<< before something else", "<<: *anchor", "Delete it.", line)
        elif key.tag != f"{_PREFIX}str" or (isinstance(key, ScalarNode) and _retagged(key)):
            found = f"the key {shortened(name)}, which YAML does not read as text"
            yield Fault(file, place, found, "a key that is text", f'Write "{shortened(name)}" in quotes.', line)
        if name in first:
            found = f"the key {shortened(name)} a second time (first on line {first[name]})"
            yield Fault(file, place, found, "each key once", "Delete one; YAML would silently keep the last.", line)
        first.setdefault(name, line)


def _mergeable(value: Node) -> bool:
    if isinstance(value, SequenceNode):
        return all(isinstance(item, MappingNode) for item in value.value)
    return isinstance(value, MappingNode)


def _bent(node: ScalarNode) -> tuple[str, str, str] | None:
    """Return found, expected and remedy where YAML's rules bend what stands there."""
    text, kind = node.value, node.tag.removeprefix(_PREFIX)
    shown = shortened(text)
    if kind not in ("str", "int", "float", "bool", "null"):
        return f"the tag {shortened(node.tag)}", "plain YAML", "Delete the tag, or put the words in quotes."
    if kind == "str":
        # A plain scalar with a tag (! 012): the parser in C and papermill's own read some of them differently.
        remedy = f'Delete the tag; write "{shown}" in quotes.'
        return (f"a tag before {shown}", "plain YAML", remedy) if _retagged(node) else None
    if node.style:  # quoted or block text that an explicit tag turns into something else
        return f"the tag !!{kind}", "plain YAML", "Delete the tag."
    if kind == "bool" and text not in _BOOLEANS:
        meant = "true" if text.lower() in ("yes", "on", "y") else "false"
        return f"{shown}, which YAML reads as {meant}", "words in quotes", f'Write "{shown}", or {meant}.'
    if kind == "int" and not _PLAIN_INT.fullmatch(text):
        return _bent_number(text, "a plain decimal number of at most 18 digits")
    if kind == "float" and not _PLAIN_FLOAT.fullmatch(text):
        return _bent_number(text, "a plain decimal number")
    if kind == "float" and not _finite(text):
        return f"{shown}, which is not a finite number", "a finite number", "Write the number that was meant."
    if kind == "null" and text not in ("", "~", "null", "Null", "NULL"):
        return f"the tag !!null on {shown}", "plain YAML", "Delete the tag."
    return None


def _retagged(node: ScalarNode) -> bool:
    """Return whether a plain scalar is text only because of a tag before it."""
    resolvers: Mapping[str, list[tuple[str, re.Pattern[str]]]] = PapermillRules.yaml_implicit_resolvers
    return not node.style and any(pattern.match(node.value) for _, pattern in resolvers.get(node.value[:1], ()))


def _finite(text: str) -> bool:
    try:
        return math.isfinite(float(text))
    except ValueError:
        return False


def _bent_number(text: str, expected: str) -> tuple[str, str, str]:
    shown = shortened(text, 30)
    try:
        read = shortened(pyyaml.load(text, Loader=PapermillRules))  # noqa: S506 - a subclass of the safe loader
    except (ValueError, KeyError, pyyaml.YAMLError):
        read = "nothing it can use"
    remedy = f'Write "{shown}" in quotes if it is a name, or the plain number {_meant(text)}.'
    return f"{shown}, which YAML reads as {read}", expected, remedy


def _meant(text: str) -> str:
    """Return the plain decimal that somebody who wrote `text` most likely meant."""
    digits = text.replace("_", "").lstrip("+")
    stripped = digits.lstrip("0") or "0"
    return shortened(stripped, 30) if stripped.replace(".", "", 1).isdigit() else "that is meant"


def _constructed(loader: Any, root: MappingNode, file: str) -> dict[str, Any]:
    try:
        values: dict[str, Any] = loader.construct_document(root)
    except pyyaml.YAMLError as error:
        raise InputError(_syntax(error, file)) from None
    return values


def _lines(node: Node, path: tuple[Step, ...]) -> Iterator[tuple[tuple[Step, ...], int]]:
    """Yield the line of every field; merged keys point to where they were written."""
    if not path:
        yield path, node.start_mark.line + 1
    if isinstance(node, MappingNode):
        for key, value in node.value:
            yield (*path, key.value), key.start_mark.line + 1
            yield from _lines(value, (*path, key.value))
    elif isinstance(node, SequenceNode):
        for position, item in enumerate(node.value):
            yield (*path, position), item.start_mark.line + 1
            yield from _lines(item, (*path, position))
