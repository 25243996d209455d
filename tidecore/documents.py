"""How a document is checked whole: frozen models with one door, ``Document.parse``.

A document (a mark, a species rule, an issue of a forecast) is plain data as JSON gives it. What is wrong with one comes
back as faults with dotted paths, all of them at once.
"""

from __future__ import annotations

import re
import reprlib
from collections.abc import Iterator, Mapping, Sequence
from itertools import pairwise
from types import UnionType
from typing import Annotated, Any, ClassVar, Literal, NamedTuple, Self, TypeVar, Union, get_args, get_origin

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, JsonValue, Strict, ValidationError
from pydantic_core import ErrorDetails, InitErrorDetails, PydanticCustomError

from tidecore.errors import Fault, InvalidInput, one_of

#: More faults of one document than this are counted, not listed.
MOST_FAULTS = 100

#: What is wrong with a field that there is not.
NO_FIELD = "is not a field of this document"
#: Control characters but tab and line feed, and halves of surrogate pairs.
_NO_TEXT = re.compile("[\\x00-\\x08\\x0b-\\x1f\\x7f\\ud800-\\udfff]")


def fault(problem: str, expected: str) -> PydanticCustomError:
    """Return the error that a validator of a document raises: what is wrong, and what would be right."""
    return PydanticCustomError("fault", "{problem}; expected {expected}", {"problem": problem, "expected": expected})


class Flaw(NamedTuple):
    """One thing wrong within a document or list: the ``path`` from there, what is wrong, what would be right."""

    path: tuple[str | int, ...]
    problem: str
    expected: str


def refuse(part: object, flaws: Sequence[Flaw]) -> None:
    """Raise, in a validator of ``part``, every one of ``flaws`` at its own path; none of them is no error.

    Raises
    ------
    ValidationError
        Which pydantic joins with whatever else is wrong.
    """
    if flaws:
        details = [InitErrorDetails(type=fault(one.problem, one.expected), loc=one.path, input=part) for one in flaws]
        raise ValidationError.from_exception_data(type(part).__name__, details)


def plain_text(text: str) -> str:
    """Refuse what cannot be stored or shown: control characters and halves of surrogate pairs."""
    if text.isprintable():
        # Most texts are, and need no search.
        return text
    found = _NO_TEXT.search(text)
    if found is not None:
        raise fault(f"holds the character U+{ord(found[0]):04X}", "text without control characters or lone surrogates")
    return text


def _one_line(text: str) -> str:
    if text.isprintable() and not text.isspace():
        return text
    plain_text(text)
    if not text.strip() or "\n" in text or "\t" in text:
        raise fault(f"is {shown(text)}", "one line of text, not blank")
    return text


#: A finite number; text and booleans are not taken for one.
Number = Annotated[float, Strict(), Field(allow_inf_nan=False)]
#: One line that names something.
Name = Annotated[str, Field(min_length=1, max_length=120), AfterValidator(_one_line)]
#: Free text.
Note = Annotated[str, Field(max_length=4000), AfterValidator(plain_text)]


T = TypeVar("T")


def not_empty(items: tuple[T, ...]) -> tuple[T, ...]:
    """Refuse a list of nothing.

    Unlike pydantic's own ``min_length`` this looks only at lists whose items are fit, and so never adds to their faults
    that there are too few.
    """
    if not items:
        raise fault("is empty", "at least one, or null")
    return items


#: What a list that may not be empty is annotated with, for its JSON Schema.
SOME: dict[str, JsonValue] = {"minItems": 1}


_SHORT = reprlib.Repr()
_SHORT.maxstring = _SHORT.maxother = _SHORT.maxlong = 200
_SHORT.maxlist = _SHORT.maxtuple = _SHORT.maxdict = 20


def shown(value: object) -> str:
    """Return a value as short plain text."""
    # Of a long list the first items are enough: all of it would be written out for nothing.
    text = _SHORT.repr(value).encode("ascii", "backslashreplace").decode()
    return text if len(text) <= 60 else text[:57] + "..."


class Document(BaseModel):
    """A frozen document of an account: unknown fields are refused, numbers are finite."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False, validate_by_name=True)

    #: What `parse` raises.
    refusal: ClassVar[type[InvalidInput]] = InvalidInput
    #: Fields that hold one of several kinds of document; the kind is no step of a fault's path.
    kinded: ClassVar[frozenset[str]] = frozenset()

    @classmethod
    def parse(cls, document: object) -> Self:
        """Return the document checked.

        Parameters
        ----------
        document : mapping
            Plain data, as JSON gives it.

        Raises
        ------
        InvalidInput
            (or the class named by ``refusal``) with every fault there is, at most 100 listed.
        """
        if not isinstance(document, Mapping | cls):
            raise cls.refusal(Fault("document", f"is {shown(document)}", "a JSON object"))
        try:
            return cls.model_validate(document)
        except ValidationError as error:
            raise cls.refusal(tuple(_faults(error, cls))) from error

    def to_document(self) -> dict[str, Any]:
        """Return the plain data that `parse` takes back to an equal document."""
        return self.model_dump(mode="json", by_alias=True)


def _faults(error: ValidationError, document: type[Document]) -> Iterator[Fault]:
    details = error.errors(include_url=False, include_context=True)
    for detail in details[:MOST_FAULTS]:
        yield _fault_of(detail, document)
    if len(details) > MOST_FAULTS:
        yield Fault("document", f"has {len(details) - MOST_FAULTS} more faults", "fewer")


def _fault_of(detail: ErrorDetails, document: type[Document]) -> Fault:
    """Say one finding of pydantic in our words."""
    path = ("", *detail["loc"])
    steps = (part for before, part in pairwise(path) if before not in document.kinded)
    field = ".".join(_field_name(part) for part in steps) or "document"
    context, kind = detail.get("ctx", {}), detail["type"]
    if kind == "fault":
        return Fault(field, str(context["problem"]), str(context["expected"]))
    if kind == "missing":
        return Fault(field, "is missing", "a value")
    if kind == "extra_forbidden":
        return Fault(field, NO_FIELD, fields_for(document, detail["loc"]))
    if kind.startswith("union_tag"):
        return Fault(
            f"{field}.kind", "is missing or unknown", f"one of {context.get('expected_tags', 'the kinds known')}"
        )
    return Fault(field, f"is {shown(detail['input'])}", expected_by(detail))


def fields_for(document: object, path: Sequence[str | int]) -> str:
    """Return in words which fields there are beside one that is not: the one most likely meant comes first.

    Parameters
    ----------
    document : type
        What the whole is checked by: a model, or whatever else may stand for one in an annotation.
    path : sequence of str or int
        Steps to the field that there is not, as pydantic tells them: kinds of documents may be among them.
    """
    types = list(_choices(document))
    for step in path[:-1]:
        inside = [choice for one in types for part in _within(one, step) for choice in _choices(part)]
        # What leads nowhere is the name of a choice among several kinds.
        types = inside or [one for one in types if _is_kind(one, step)] or types
    names = [info.alias or name for one in types if _is_model(one) for name, info in one.model_fields.items()]
    return one_of(dict.fromkeys(names), path[-1]) if names else "no such field"


def _choices(annotation: Any) -> Iterator[Any]:
    """Yield the types that an annotation allows."""
    origin = get_origin(annotation)
    if origin is Annotated:
        yield from _choices(get_args(annotation)[0])
    elif origin in (Union, UnionType):
        for one in get_args(annotation):
            yield from _choices(one)
    else:
        yield annotation


def _within(one: Any, step: str | int) -> Iterator[Any]:
    """Yield the annotations of what lies one step inside a type."""
    inner = [part for part in get_args(one) if part is not Ellipsis]
    if isinstance(step, int):
        yield from inner
    elif _is_model(one):
        yield from (info.annotation for name, info in one.model_fields.items() if step in (name, info.alias))
    elif len(inner) == 2 and get_origin(one) is not Literal:
        # A mapping: its keys are names that the caller chose.
        yield inner[1]


def _is_model(one: Any) -> bool:
    return isinstance(one, type) and issubclass(one, BaseModel)


def _is_kind(one: Any, step: str | int) -> bool:
    """Return whether a step of a path is the kind of a document, or its name."""
    if not _is_model(one):
        return False
    kind = one.model_fields.get("kind")
    return step == one.__name__ or (kind is not None and step in get_args(kind.annotation))


#: What JSON calls what pydantic calls by the types of Python.
_SHAPES = {
    **dict.fromkeys(("list_type", "tuple_type", "set_type", "frozen_set_type"), "an array"),
    **dict.fromkeys(("dict_type", "model_type", "model_attributes_type", "mapping_type"), "an object"),
}
#: What the patterns of documents ask for, in words.
PATTERN_WORDS = {
    r"^[A-Z]{3}$": "a code of three capital letters, as BSS",
    r"^[a-z_]+(\.([a-z_]+|[0-9]{1,5})){0,8}$": "the path of a field, as catches.0.length.cm",
}


def expected_by(detail: Mapping[str, Any], patterns: Mapping[str, str] = PATTERN_WORDS) -> str:
    """Return what a finding of pydantic says would be right; ``patterns`` are words for what it can only spell."""
    if detail["type"] in _SHAPES:
        return _SHAPES[detail["type"]]
    message = str(detail["msg"]).removeprefix("Input should be ").removeprefix("Value error, ")
    message = message.partition(", unable to ")[0]
    _, sized, size = message.partition(" should have ")
    if sized:
        message = size.partition(" after validation")[0]
    spelled = patterns.get(detail.get("ctx", {}).get("pattern", ""))
    return spelled or message[:1].lower() + message[1:]


def _field_name(part: int | str) -> str:
    """Return one step of a path, short and printable however the field was called."""
    text = str(part)
    return text if len(text) <= 60 and (text.isidentifier() or text.isdecimal()) else shown(text)
