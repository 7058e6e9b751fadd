"""What each command does, callable from Python: requests in, results and files out; nothing is printed.

One module a job, with one public function named like the command. Its keyword parameters have the names,
units and defaults of the options, with underscores; the script of that name in ``scripts`` parses them, takes
out what is about the terminal (``quiet``, ``show_hidden``) and calls this very function. So the command line
and Python cannot differ.

How a job goes, and where each step stands:

1. The function packs its parameters into a frozen request: ``SomeRequest.of(locals())`` as its only line.
   ``requests`` declares the requests, made of parts that jobs share; ``settling`` turns each value into what
   its annotation says (floats, tuples, paths) or raises one clear error. A request pickles.
2. ``run_some_job(request, listener)`` does the work, here or in another process. What makes no sense is
   refused before a file is opened (``wanted``, ``outputs.check_outputs``). An error speaks in plain words and
   names its ``parameters``; the script adds how these are given on the command line.
3. ``with inputs.opened(request) as inputs`` gives terrain, stations and features on one working grid.
   Each may be a file or in memory (``memory``: ``Raster``, xarray, GeoDataFrame).
4. What is found goes into a ``sink`` as it comes: a GeoPackage, in which rows are written some stations at a
   time, or memory. Nothing is held to the end when a file is written.
5. The ``listener`` hears of notes, progress and each station's rows; the silent one is the default. The
   scripts' is ``scripts.report.Terminal``. Every note is in the result too.
6. The function returns a frozen ``results.Result`` (or a subclass with what else the job finds): frames,
   rasters, notes, provenance, and the files written by the parameter that asked for them. With ``out`` the
   frames are read from the file when they are asked for.

Jobs that read stations share ``stations.run_stations`` and give it a generator of ``Reading``.
"""
