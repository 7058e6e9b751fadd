"""How kernels run: compiled and kept on disk, spread over the cores, ready or still to be compiled."""
