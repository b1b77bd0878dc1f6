"""Whether the tests can fail: one small change to the code at a time, and the tests that pass through it.

`python -m tests.mutants map` finds out which tests pass through which line, `run` tries changes picked at random,
`show` tells what came of it, `apply` and `named` try changes that somebody named. Outside the gate.
"""
