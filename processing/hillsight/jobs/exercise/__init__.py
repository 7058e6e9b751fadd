"""Exercises: found, checked, printed and put on a page.

``check``, ``find``, ``print`` and ``page`` do what the commands of those names do. ``scene`` opens an
exercise and its ground, ``judging`` judges it, ``views`` has what its places see. ``laid_out`` brings these
together for ``sheets`` and ``shown``, which a printed sheet and a page are drawn from.
"""
