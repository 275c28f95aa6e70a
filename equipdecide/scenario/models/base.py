"""What all parts of a scenario share."""

from pydantic import BaseModel, ConfigDict


class Frozen(BaseModel):
    """Base of all parts of a scenario: frozen, unknown keys refused."""

    # built when a file is first read, all in one: each on its own, and again within its owner, takes half as long again
    model_config = ConfigDict(frozen=True, extra="forbid", arbitrary_types_allowed=True, defer_build=True)
