"""All kinds of answers, by the name that a study's file gives them."""

from functools import reduce
from operator import or_
from typing import Annotated, Any

from pydantic import Field

from fem.study.answers import curves, map, search, sensitivity, uncertainty
from fem.study.answers.finding import Kind

ANSWERS: dict[str, Kind] = {
    "curves": curves.KIND,
    "map": map.KIND,
    "sensitivity": sensitivity.KIND,
    "uncertainty": uncertainty.KIND,
    "search": search.KIND,
}
Answer: Any = Annotated[reduce(or_, [kind.block for kind in ANSWERS.values()]), Field(discriminator="kind")]
