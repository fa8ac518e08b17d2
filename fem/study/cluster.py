"""Dask workers: on this machine, in a cluster that is running, or from the queue of a computing centre."""

import asyncio
import logging
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import Any

from fem.comparison.jobs import ONE_THREAD, cores
from fem.errors import StudyStopped, Unguarded
from fem.study.keys import Cluster

AT_ONCE = 0.2  # s in which a worker may end by itself when the study is stopped; our choice
PATIENCE = "30s"  # until a scheduler has answered; our choice


def chosen(
    block: Cluster | None, *, local: int | None = None, address: str | None = None, file: Path | None = None
) -> Callable:
    """What gives the client: of a running cluster, of workers on this machine, or of those that the block asks for."""
    if address or file:
        return partial(running, address, file=file)
    if local or block is None:
        return partial(on_this_machine, local)
    return partial(queued, block)


def count(local: int | None, block: Cluster | None) -> int:
    """Number of workers that `chosen` would start."""
    return local or (int(block.workers) if block else cores())


@contextmanager
def on_this_machine(workers: int | None = None) -> Iterator[Any]:
    """Client of workers on this machine, by default one a core, reached over the loopback address only.

    Raises Unguarded if they end before they have read the script that starts them.
    """
    import dask
    from distributed import Client, LocalCluster

    settings = {
        "distributed.scheduler.allowed-failures": 100,  # fem.study.task counts them itself, by case
        "distributed.scheduler.worker-saturation": 1.0,
        "distributed.deploy.lost-worker-timeout": "1000 days",  # instead of 15 s: README
        "distributed.scheduler.no-workers-timeout": "5 minutes",  # rather than wait for ever; our choice
        # By default each 64 kB are handed back and taken anew in each iteration, a fifth more time on two workers.
        "distributed.nanny.pre-spawn-environ.MALLOC_TRIM_THRESHOLD_": 2**29,
    }
    with dask.config.set(settings):
        try:
            cluster = LocalCluster(
                n_workers=workers or cores(), threads_per_worker=1, processes=True, host="127.0.0.1", env=ONE_THREAD,
                dashboard_address="127.0.0.1:0", memory_limit=None, silence_logs=logging.CRITICAL,
            )  # fmt: skip
        except RuntimeError as error:  # a nanny's, whose worker ended before it began
            raise Unguarded from error
        with cluster, Client(cluster) as client:
            try:
                yield client
            except BaseException:
                cluster.sync(_ended, list(cluster.workers.values()))
                raise


async def _ended(nannies):
    """End workers without waiting for what they are at, which their folders do not miss."""
    await asyncio.gather(*(nanny.close(timeout=AT_ONCE) for nanny in nannies), return_exceptions=True)


@contextmanager
def running(address: str | None = None, *, file: Path | None = None) -> Iterator[Any]:
    """Client of a cluster that is running already, by its address or by the file that its scheduler wrote."""
    from distributed import Client

    try:
        client = Client(address, scheduler_file=str(file) if file else None, timeout=PATIENCE)
    except (OSError, ValueError) as error:
        raise StudyStopped(f"no scheduler at {address or file}: {error}") from error
    with client:
        yield client


@contextmanager
def queued(block: Cluster) -> Iterator[Any]:
    """Client of workers that a computing centre's queue starts."""
    from distributed import Client

    with batch(block) as cluster:
        cluster.scale(n=int(block.workers))
        with Client(cluster) as client:
            yield client


def batch(block: Cluster) -> Any:
    """The dask_jobqueue cluster of a study's `cluster` block; its job_script() is what is submitted."""
    import dask_jobqueue

    cores = int(block.cores)
    return getattr(dask_jobqueue, f"{block.kind.upper()}Cluster")(
        cores=cores, processes=cores, memory=f"{block.memory_GB:g}GB",
        scheduler_options={"dashboard_address": "127.0.0.1:0"},
        job_script_prologue=[*(f"export {name}={value}" for name, value in ONE_THREAD.items()), *block.before],
        **block.model_dump(include={"queue", "account", "walltime", "interface"}),
    )  # fmt: skip
