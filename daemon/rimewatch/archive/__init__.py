"""Many shops' histories in Parquet files, and their evaluation by many processes.

For whoever looks after more shops than one machine replays in an evening: what a journal
holds is exported, and the same fold as in the service and in ``rimewatch replay`` is run
over it, a task a shop. Needs pyarrow, and dask for more than one process: an optional
dependency (``rimewatch[archive]``). The service itself never imports this.
"""
