"""From pydantic's errors to faults with line, field, found, expected and remedy."""

from __future__ import annotations

from collections.abc import Mapping
from types import UnionType
from typing import TYPE_CHECKING, Annotated, Any, Final, Literal, TypeVar, Union, get_args, get_origin, get_type_hints

from pydantic import ValidationError

from benchproof.campaign.models.base import Model
from benchproof.campaign.problems import CUSTOM
from benchproof.campaign.units import nearest, shortened, what
from benchproof.campaign.yaml import written
from benchproof.errors import Fault, InputError

if TYPE_CHECKING:
    from collections.abc import Iterator

    from pydantic.fields import FieldInfo
    from pydantic_core import ErrorDetails

    from benchproof.campaign.yaml import Places, Step

M = TypeVar("M", bound=Model)

MOST: Final = 50
"""Faults of one file that are reported together."""

_EXPECTED: Final = {
    "model_type": "keys with values",
    "dict_type": "keys with values",
    "mapping_type": "keys with values",
    "tuple_type": "a list, each item on a line of its own after a dash",
    "int_type": "a whole number",
    "int_from_float": "a whole number",
    "float_type": "a number",
    "bool_type": "true or false",
    "string_type": "words",
    "finite_number": "a finite number",
}


def validated(model: type[M], values: Mapping[str, Any], places: Places) -> M:
    """Return the model of a file's values.

    Raises
    ------
    InputError
        With every fault found, in the order of the file.
    """
    try:
        return model.model_validate(values)
    except ValidationError as error:
        raise InputError(*faults_of(error, model, values, places)) from None


def faults_of(
    error: ValidationError, model: type[Model], values: Mapping[str, Any], places: Places
) -> tuple[Fault, ...]:
    """Return pydantic's errors as faults, each place once, in the order of the file."""
    found: dict[tuple[str, str], Fault] = {}
    for details in error.errors(include_url=False):
        if details["type"] == "too_short" and len(details["input"]) >= details["ctx"]["min_length"]:
            continue  # pydantic counts items it refused as missing; each has its own fault
        path = _path_in_file(details["loc"], values)
        for fault in _faults(details, path, model, values, places):
            found.setdefault((fault.place, fault.found), fault)
    ordered = sorted(found.values(), key=lambda fault: fault.line or 0)
    return tuple(ordered[:MOST])


def _path_in_file(loc: tuple[Step, ...], values: Any) -> tuple[Step, ...]:
    """Return the error's place in the file: pydantic also names the branch of a union, which no file has."""
    path: list[Step] = []
    here = values
    for position, step in enumerate(loc):
        if _holds(here, step):
            here = here[step]
        elif position < len(loc) - 1 or not isinstance(here, dict):
            continue
        path.append(step)
    return tuple(path)


def _faults(
    details: ErrorDetails, path: tuple[Step, ...], model: type[Model], values: Any, places: Places
) -> Iterator[Fault]:
    kind = details["type"]
    if kind == CUSTOM:
        for problem in details.get("ctx", {}).get("problems", ()):
            inside = (*path, *problem.inside)
            line = places.line(inside)
            yield Fault(places.file, written(inside), problem.found, problem.expected, problem.remedy, line)
        return
    found, expected, remedy = _words(kind, details, path, model, values)
    yield Fault(places.file, written(path), found, expected, remedy, places.line(path))


def _words(
    kind: str, details: ErrorDetails, path: tuple[Step, ...], model: type[Model], values: Any
) -> tuple[str, str, str]:
    """Return found, expected and remedy."""
    given = what(details.get("input"))
    if kind == "too_short":
        return (
            given,
            f"at least {details['ctx']['min_length']} items{_about(model, path, values)}",
            "Add one.",
        )
    if kind == "extra_forbidden":
        return _unknown_key(path, model, values)
    if kind in ("missing", "union_tag_not_found"):
        name = str(path[-1]) if kind == "missing" else "test"
        about = _about(model, path if kind == "missing" else (*path, "test"), values)
        return (
            f"no {shortened(name)}:",
            f"the key {name}{about}",
            f"Add {name}: to {written(path[:-1]) or 'the file'}.",
        )
    if kind in ("literal_error", "union_tag_invalid"):
        valid = _choices(model, path if kind == "literal_error" else (*path, "test"), values)
        if kind == "union_tag_invalid":
            given = what(details["input"].get("test") if isinstance(details["input"], dict) else None)
        near = nearest(given.strip('"'), valid)
        return given, f"one of {', '.join(valid)}", f"Write {near}." if near else "Write one of these."
    about = _about(model, path, values)
    expected = _EXPECTED.get(kind) or _limit(str(details["msg"]))
    return given, expected + about, "Correct it."


def _limit(message: str) -> str:
    """Return pydantic's words for a limit as something a person may have written."""
    limit = message.removeprefix("Input should be ").removeprefix("Value should ")
    return f"a number {limit}" if limit.startswith(("less", "greater")) else limit


def _unknown_key(path: tuple[Step, ...], model: type[Model], values: Any) -> tuple[str, str, str]:
    name = str(path[-1])
    valid = tuple(dict.fromkeys(key for each in _models(model, path[:-1], values) for key in _names(each)))
    near = nearest(name, valid)
    remedy = f"Write {near}:." if near else "Correct its spelling, or delete it."
    expected = f"one of {', '.join(valid)}" if valid else "no such key"
    return f"the unknown key {shortened(name)}", expected, remedy


def _names(model: type[Model]) -> Iterator[str]:
    return (field.alias or name for name, field in model.model_fields.items())


def _about(model: type[Model], path: tuple[Step, ...], values: Any) -> str:
    """Return the meaning of a field with an example, or nothing where it is not known."""
    field = _field(model, path, values)
    if field is None or not field.description:
        return ""
    example = (field.examples or [None])[0]
    shown = f"such as {_as_written(example)}" if example not in (None, [], {}) else ""
    return f" ({field.description}{', ' + shown if shown else ''})"


def _as_written(example: Any) -> str:
    if isinstance(example, bool):
        return str(example).lower()
    return str(example) if isinstance(example, str) else repr(example).replace("'", "")


def _choices(model: type[Model], path: tuple[Step, ...], values: Any) -> tuple[str, ...]:
    """Return the words a field may hold."""
    if path[-1] == "test":
        each = [_literals(candidate.model_fields["test"].annotation) for candidate in _every_test(model)]
        return tuple(word for words in each for word in words)
    field = _field(model, path, values)
    return _literals(field.annotation) if field is not None else ()


def _every_test(model: type[Model]) -> list[type[Model]]:
    return [each for each in _inside(model.model_fields["tests"].annotation) if "test" in each.model_fields]


def _literals(annotation: Any) -> tuple[str, ...]:
    if get_origin(annotation) is Literal:
        return tuple(str(word) for word in get_args(annotation))
    return tuple(word for inner in get_args(annotation) for word in _literals(inner))


def _field(model: type[Model], path: tuple[Step, ...], values: Any) -> FieldInfo | None:
    """Return the model's field at a place of the file."""
    names = [step for step in path if isinstance(step, str)]
    if not names:
        return None
    for owner in _models(model, path[:-1], values):
        for name, field in owner.model_fields.items():
            if names[-1] in (name, field.alias):
                return field
    return None


def _models(model: type[Model], path: tuple[Step, ...], values: Any) -> list[type[Model]]:
    """Return the models that may stand at a place of the file."""
    kinds: list[Any] = [model]
    here = values
    for step in path:
        here = here[step] if _holds(here, step) else None
        kinds = [inner for kind in kinds for inner in _under(kind, step)]
        test = here.get("test") if isinstance(here, dict) else None
        if isinstance(test, str):
            kinds = [kind for kind in kinds if _is_test(kind, test)] or kinds
    return [kind for kind in kinds if isinstance(kind, type) and issubclass(kind, Model)]


def _under(kind: Any, step: Step) -> list[Any]:
    """Return the types that a key or position of a value of some type may have."""
    if isinstance(kind, type) and issubclass(kind, Model):
        fields = [field for name, field in kind.model_fields.items() if step in (name, field.alias)]
        return [inner for field in fields for inner in _opened(field.annotation)] or _extra(kind)
    if get_origin(kind) in (tuple, Mapping):
        return _opened(get_args(kind)[0 if get_origin(kind) is tuple else 1])
    return []


def _extra(model: type[Model]) -> list[Any]:
    """Return the type of the keys that a model leaves free, as a log layout does its channels."""
    hint = get_type_hints(model).get("__pydantic_extra__") if model.model_config.get("extra") == "allow" else None
    return [get_args(hint)[1]] if hint else []


def _opened(annotation: Any) -> list[Any]:
    """Return the alternatives of a type, without what annotates them."""
    if get_origin(annotation) is Annotated:
        return _opened(get_args(annotation)[0])
    if get_origin(annotation) in (Union, UnionType):
        return [inner for each in get_args(annotation) for inner in _opened(each)]
    return [annotation]


def _holds(here: Any, step: Step) -> bool:
    if isinstance(here, dict):
        return step in here
    return isinstance(here, (list, tuple)) and isinstance(step, int) and step < len(here)


def _is_test(model: Any, kind: str) -> bool:
    field = model.model_fields.get("test") if isinstance(model, type) and issubclass(model, Model) else None
    return field is not None and kind in _literals(field.annotation)


def _inside(annotation: Any) -> list[type[Model]]:
    if isinstance(annotation, type) and issubclass(annotation, Model):
        return [annotation]
    return [found for inner in get_args(annotation) for found in _inside(inner)]
