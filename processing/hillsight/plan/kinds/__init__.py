"""Kinds of statement, one module each: what may be said, how likely, in what words, what it excludes.

``registry`` finds the modules of this folder. A new kind is one file here, with a ``StatementKind`` called
``KIND``, and its tests; what several kinds share stands in ``shared``.
"""
