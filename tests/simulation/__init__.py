"""A group of stores that lives for months by chance, and an auditor who trusts nobody.

``python -m tests.simulation --size full`` plays 18 months; see docs/algorithms/simulation.md.
"""
