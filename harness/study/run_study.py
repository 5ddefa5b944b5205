"""A whole study in one call: its rows in a folder, and what they say as a table."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from harness.study.cluster import need_distributed
from harness.study.executors import CountedExecutor, dask, in_process, local
from harness.study.item import job_of, prepare
from harness.study.results import read_results
from harness.study.running import Progress, Ran, run
from harness.study.space import MOST_COLUMNS
from harness.study.store import Folder
from harness.study.study import Study
from harness.study.table import Table, table_of
from harness.study.told import facts_of, study_text


def run_study(
    study: Study,
    path: str | Path,
    *,
    resume: bool = False,
    workers: int | None = None,
    dask_address: str | None = None,
    before_compiling: Callable[[Folder], None] = lambda _: None,
    progress: Callable[[Progress], None] = lambda _: None,
) -> tuple[Ran, Table | None]:
    """Run what is missing of a study, and put the table together.

    Args:
        study: the study; `harness.study.study_file.read` reads one.
        path: the folder in which the rows are kept, as `banks.parquet`; made where it is missing.
        resume: go on with what is in the folder; otherwise nothing of a study may be there.
        workers: how many processes; None for one a core.
        dask_address: of a Dask cluster that runs it in their place.
        before_compiling: called with the folder before the first bank runs; what is compiled then
            takes a minute when it was not compiled before.
        progress: called whenever some banks are done.

    Returns:
        What came of the run, and its table: None where it was interrupted or nothing could be run.

    Raises:
        InputError: the folder cannot be used, nobody is there to work, a rule of one's own cannot
            be compiled, or pyarrow or what connects to a cluster is missing.
    """
    if dask_address is not None:
        need_distributed()
    with Folder(Path(path), study.fingerprint, study.items, resume=resume) as folder:
        folder.write_study(study_text(study))
        folder.check_space(study.banks_an_item * len(study.arms), MOST_COLUMNS)
        before_compiling(folder)
        if not folder.complete:
            prepare(study)
        with _executor(workers, dask_address, study.items - folder.done) as executor:
            ran = run(job_of(study), folder, executor, progress=progress)
        if ran.interrupted or ran.kept + ran.done == 0:
            return ran, None
        rows = folder.compact(left_out=ran.failed)
        table = table_of(read_results(rows, facts_of(study, ran.failed)))
        folder.drop_parts()
    return ran, table


@contextmanager
def _executor(workers: int | None, address: str | None, left: int) -> Iterator[CountedExecutor]:
    if address is not None:
        executor = dask(address)
    else:
        wanted = min(workers or os.cpu_count() or 1, max(left, 1))
        executor = local(wanted) if wanted > 1 else in_process()
    try:
        yield executor
    finally:
        executor.shutdown(wait=False, cancel_futures=True)
