"""Thousands of stations over terrain larger than memory: cut into parts, seen, put together tile by tile.

``job_file`` reads what is asked, ``places`` the stations, ``planning`` cuts them into parts of neighbours and
the lattice into tiles. A part (``parts``) and a tile (``tiles``) are tasks that can be done anywhere and
again: each reads files and leaves one checked file (``checked``). ``engine`` has tasks done here, by several
processes or by a cluster; ``manifest`` tells what a folder was begun with; ``index`` writes what is left to
write when all are done; ``run`` calls them in that order.
"""
