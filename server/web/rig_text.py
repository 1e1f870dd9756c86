"""A rig document as text: read, checked, and told what is wrong with it."""

import json
from typing import Any

from pydantic import ValidationError

from server.errors import OutOfRange
from server.studio.document import rig_from_document
from server.studio.rig import Rig
from server.web.contract import RigDocument
from server.web.errors import sentences


def rig_of_text(text: str | bytes) -> Rig:
    """The rig that a document describes; OutOfRange in words."""
    try:
        return rig_from_document(RigDocument.model_validate(json_of(text)).model_dump())
    except ValidationError as error:
        raise OutOfRange(sentences(error.errors())) from None


def json_of(text: str | bytes) -> Any:
    """What a JSON text says; OutOfRange when it is none."""
    try:
        return json.loads(text)
    except (ValueError, RecursionError) as error:
        raise OutOfRange(f"this is no rig document: {error}") from None
