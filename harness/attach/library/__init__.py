"""A C library as a controller: loaded in a worker process, its rows in shared memory."""
