"""How fast the main paths are, as ratios to references measured in the same run: `python -m tests.benchmarks`."""
