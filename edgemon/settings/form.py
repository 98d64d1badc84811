"""What all tables of the settings have in common."""

from pydantic import BaseModel, ConfigDict


class Shape(BaseModel):
    """A table: unknown keys are mistakes, text is not a number, and numbers are finite."""

    model_config = ConfigDict(extra="forbid", strict=True, allow_inf_nan=False, frozen=True)
