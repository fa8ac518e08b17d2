"""What a study is asked, as blocks of its file; one model a kind of answer, in the union ANSWER."""

from typing import Literal

from pydantic import BaseModel, Field

from fem.case import STRICT


class Curve(BaseModel):
    """A measure over one input, or a map of it over two."""

    model_config = STRICT
    kind: Literal["curve"]
    measure: str = Field(description="name of a number in measures.json")
    over: str = Field(description="dotted path of the input along the axis")
    by: str | None = Field(default=None, description="dotted path of a second input: a line, or a row of a map, each")


Answer = Curve
