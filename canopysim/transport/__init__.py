"""One photon from launch to its end, compiled by numba."""
