"""What are all payload schemas made of?"""

from __future__ import annotations

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

Share = Annotated[float, Field(ge=0.0, le=1.0)]


Seconds = Annotated[float, Field(ge=0.0)]


Whole = Annotated[int, Field(ge=0)]


Celsius = float


UnixS = Annotated[float, Field(ge=0.0, description="Unix seconds of the sender's wall clock: a stamp for people.")]


Id = Annotated[str, Field(min_length=1, max_length=64)]


Text = Annotated[str, Field(max_length=4000)]


class Sent(BaseModel):
    """A payload of ours."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class Heard(BaseModel):
    """A payload of others."""

    model_config = ConfigDict(extra="allow", frozen=True)
