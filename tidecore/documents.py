"""How a document is checked whole: frozen models with one door, ``Document.parse``.

A document (a mark, a species rule, an issue of a forecast) is plain data as JSON gives it. What is wrong with one comes
back as faults with dotted paths, all of them at once.
"""

from __future__ import annotations

import re
import reprlib
from collections.abc import Iterator, Mapping, Sequence
from itertools import pairwise
from typing import Annotated, Any, ClassVar, NamedTuple, Self, TypeVar

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, JsonValue, Strict, ValidationError
from pydantic_core import ErrorDetails, InitErrorDetails, PydanticCustomError

from tidecore.errors import Fault, InvalidInput

#: More faults of one document than this are counted, not listed.
MOST_FAULTS = 100

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
            raise cls.refusal(tuple(_faults(error, cls.kinded))) from error

    def to_document(self) -> dict[str, Any]:
        """Return the plain data that `parse` takes back to an equal document."""
        return self.model_dump(mode="json", by_alias=True)


def _faults(error: ValidationError, kinded: frozenset[str]) -> Iterator[Fault]:
    details = error.errors(include_url=False, include_context=True)
    for detail in details[:MOST_FAULTS]:
        yield _fault_of(detail, kinded)
    if len(details) > MOST_FAULTS:
        yield Fault("document", f"has {len(details) - MOST_FAULTS} more faults", "fewer")


def _fault_of(detail: ErrorDetails, kinded: frozenset[str]) -> Fault:
    """Say one finding of pydantic in our words."""
    path = ("", *detail["loc"])
    steps = (part for before, part in pairwise(path) if before not in kinded)
    field = ".".join(_field_name(part) for part in steps) or "document"
    context, kind = detail.get("ctx", {}), detail["type"]
    if kind == "fault":
        return Fault(field, str(context["problem"]), str(context["expected"]))
    if kind == "missing":
        return Fault(field, "is missing", "a value")
    if kind == "extra_forbidden":
        return Fault(field, "is not a field of this document", "no such field")
    if kind.startswith("union_tag"):
        return Fault(
            f"{field}.kind", "is missing or unknown", f"one of {context.get('expected_tags', 'the kinds known')}"
        )
    return Fault(field, f"is {shown(detail['input'])}", expected_by(detail))


#: What the patterns of documents ask for, in words.
PATTERN_WORDS = {
    r"^[A-Z]{3}$": "a code of three capital letters, as BSS",
    r"^[a-z_]+(\.([a-z_]+|[0-9]{1,5})){0,8}$": "the path of a field, as catches.0.length.cm",
}


def expected_by(detail: Mapping[str, Any], patterns: Mapping[str, str] = PATTERN_WORDS) -> str:
    """Return what a finding of pydantic says would be right; ``patterns`` are words for what it can only spell."""
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
    return text if text.isidentifier() or text.isdecimal() else shown(text)
