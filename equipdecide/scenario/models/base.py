"""What all parts of a scenario share."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict


class Frozen(BaseModel):
    """Base of all parts of a scenario: frozen, unknown keys refused."""

    model_config = ConfigDict(frozen=True, extra="forbid", arbitrary_types_allowed=True)
