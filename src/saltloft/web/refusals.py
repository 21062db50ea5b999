"""How the API says no, as its OpenAPI document tells programs."""

from __future__ import annotations

from typing import Any

from pydantic import BaseModel, Field


class Problem(BaseModel):
    """A refusal (field names of RFC 9457)."""

    title: str
    status: int
    detail: str = Field(description="What happened and what to do, one sentence.")
    allowed: str = Field(default="", description="What would have been taken.")


def _said(words: str) -> dict[str, Any]:
    schema = {"$ref": "#/components/schemas/Problem"}
    return {
        "description": words,
        "model": Problem,
        "content": {"application/problem+json": {"schema": schema}},
    }


REFUSALS: dict[int | str, dict[str, Any]] = {
    400: _said("The body is none, or the house does not answer under that name."),
    401: _said("Neither a session nor a token."),
    403: _said("The role or token has no business here, or the request came from another site."),
    404: _said("There is nothing of that name; the nearest names are told."),
    405: _said("The address takes another method."),
    409: _said("Refused as things stand."),
    413: {"description": "Larger than the limit; nothing was read.", "content": {"text/plain": {}}},
    422: _said("Not taken: the field and what is allowed are told."),
    503: _said("The database cannot take anything just now."),
}
