"""The invented scenario that ``make_demo`` plays through the real domain."""
