"""What every section of a document is: profiles, fixtures and dialects are made of these."""

from pydantic import BaseModel, ConfigDict


class Section(BaseModel):
    """Frozen, no key that we do not know, and no validator built before it is asked for: start-up is waited for."""

    model_config = ConfigDict(frozen=True, extra="forbid", defer_build=True)
