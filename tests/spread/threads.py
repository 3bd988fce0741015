"""For workers to say in how many threads they work; in a module of its own, as Numba is slow to load."""

import numba


def threads(number: int) -> int:
    return numba.get_num_threads()
