"""What there is to do today: one module for the work of each post.

Each function gives rows of one kind for one store, in one query or two, whatever the
number of rows. A row names its reason, its last day and the act that clears it.
"""
