"""A photo-based cure and batch quality journal for cold-process soap."""

import os
import sys

# Measuring and judging solve many small systems: threads cost more than they save (two thirds of a photo's time).
# The first line is for the linear algebra still to be loaded, the rest for what is loaded already.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
if "numpy" in sys.modules:
    from threadpoolctl import threadpool_limits

    threadpool_limits(1, user_api="blas")
