"""The judgement tried in worlds whose equations it does not know.

`worlds` draws batches by other equations than `tests.benchmarks.simulated_batches` in every part; `study` judges them
and counts what was said wrongly. Written before the judgement that it tries, and not changed to please it.
"""
