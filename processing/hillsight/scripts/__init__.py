"""One file per standalone script: parse, call, write, report."""
