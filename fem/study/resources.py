"""What a study may take: limits of a case, and workers from the queue of a computing centre."""

from typing import Annotated, Literal

from annotated_types import Ge, MultipleOf
from pydantic import Field

from fem.case.document import Block
from fem.case.keys import Positive

Whole = Annotated[float, MultipleOf(1), Ge(1)]


class Limits(Block):
    """What a case may take before it is given up and recorded as failed."""

    seconds: Positive = Field(default=3600.0, description="time for one case, s")
    memory_MB: Annotated[float, Ge(500)] | None = Field(
        default=None, description="memory of a worker, MB; an idle one with its libraries takes some 300; no limit"
    )


class Cluster(Block):
    """Workers from the queue of a computing centre, through dask-jobqueue; a job is one worker process a core."""

    kind: Literal["slurm", "pbs", "sge", "lsf"] = Field(description="kind of the queueing system")
    queue: str | None = Field(default=None, description="queue or partition")
    account: str | None = Field(default=None, description="account or project that is charged")
    walltime: Annotated[str, Field(pattern=r"^\d+(:\d\d){1,2}$")] = Field(description="limit of a job as HH:MM:SS")
    cores: Whole = Field(default=1.0, description="of a job, each a single-threaded worker")
    memory_GB: Positive = Field(description="of a job, GB")
    workers: Whole = Field(description="in all jobs together")
    interface: str | None = Field(default=None, description="network interface that the machines share, as ib0")
    before: tuple[str, ...] = Field(default=(), description="lines of shell before a worker starts, as module load")
