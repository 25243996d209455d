"""The caller's own names for things, and where they are: fields that several documents share."""

from __future__ import annotations

from typing import Annotated

from pydantic import AfterValidator, Field

from tidecore.place import Name, Number, fault

#: A coordinate [degrees].
Latitude = Annotated[Number, Field(ge=-90.0, le=90.0, description="Degrees north.")]
Longitude = Annotated[Number, Field(ge=-180.0, le=180.0, description="Degrees east.")]


def _is_reference(text: str) -> str:
    """Refuse text that starts or ends with a blank."""
    if text != text.strip():
        raise fault("starts or ends with a blank", "text without blanks at its ends")
    return text


#: The caller's own name for a thing.
ExternalRef = Annotated[
    Name,
    AfterValidator(_is_reference),
    Field(description="The caller's own name for it, unique in the account among things of its kind."),
]
