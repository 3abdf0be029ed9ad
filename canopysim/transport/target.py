"""The primitives a kernel may use, here for numba on the CPU: compile, fma, bit casts, root."""

from functools import partial

import numba
import numpy as np
from llvmlite import ir
from numba import njit, types
from numba.extending import intrinsic

from canopysim.transport.cache import choose_cache_folder

CACHE_FOLDER = choose_cache_folder()
# Set before the first decorator: numba looks for a writable cache while decorating.
if CACHE_FOLDER is not None:
    numba.config.CACHE_DIR = str(CACHE_FOLDER)  # type: ignore[attr-defined]

# No fast-math: contraction or reassociation would break the watertight edge test and equal bytes.
_compile = partial(
    njit,
    cache=CACHE_FOLDER is not None,
    error_model="numpy",
    fastmath=False,
    boundscheck=False,
    nogil=True,
)
# Kernels become one function: to hand the world over by value costs more than the work done.
jit = _compile(forceinline=True)
# What hardly ever happens stays a call and out of the way.
jit_apart = _compile()


@intrinsic
def fma(typing_context, a, b, c):
    """Round a * b + c once; all three float32."""
    if not (a == b == c == types.float32):
        return None

    def generate(context, builder, signature, args):
        return builder.fma(*args)

    return types.float32(a, b, c), generate


@intrinsic
def float_from_bits(typing_context, bits):
    """Read the bits of an int32 as a float32."""
    if bits != types.int32:
        return None

    def generate(context, builder, signature, args):
        return builder.bitcast(args[0], ir.FloatType())

    return types.float32(bits), generate


@intrinsic
def bits_from_float(typing_context, x):
    """Read the bits of a float32 as an int32."""
    if x != types.float32:
        return None

    def generate(context, builder, signature, args):
        return builder.bitcast(args[0], ir.IntType(32))

    return types.int32(x), generate


@jit
def note(event, x, y, z, place, side, w):
    """Write nothing down: only the plain target keeps a diary."""
    return


@jit
def root(x):
    """IEEE square root of a float32."""
    return np.float32(np.sqrt(x))
