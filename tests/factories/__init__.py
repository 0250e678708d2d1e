"""Rows for tests: one module an app, one factory a model, nothing surprising.

Everything a factory makes is invented and as of ``NOW``.
"""
