"""How fast the program is, measured as ratios within one run; `python -m tests.benchmarks` prints them."""
