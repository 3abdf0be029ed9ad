"""The primitives a kernel may use, here for numba on the CPU: compile, fma, bit casts, root."""

from functools import partial

import numba
import numpy as np
from llvmlite import ir
from numba import njit, types
from numba.extending import intrinsic, typeof_impl

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
    no_cfunc_wrapper=True,
)
# To unpack the world for Python, and to count who holds its arrays, takes as long to compile as
# the physics; a kernel that only kernels call needs neither: it makes and gives back no array.
_compile_inner = partial(_compile, no_cpython_wrapper=True, _nrt=False)


class InnerKernel:
    """A kernel that only kernels call: it has no entry from Python."""

    def __init__(self, compiled):
        self.compiled = compiled

    def __call__(self, *arguments):
        """Refuse: without this the process would end with a segmentation fault.

        Raises
        ------
        TypeError
            Always.
        """
        name = self.compiled.__name__
        raise TypeError(f"{name} is called by kernels only; decorate it with jit_open, or call it "
                        "from a function under numba.njit")  # fmt: skip


@typeof_impl.register(InnerKernel)
def _type_of_inner_kernel(kernel, context):
    return types.Dispatcher(kernel.compiled)


# What Python calls too: the doors into the kernels, and functions of numbers.
jit_open = _compile(forceinline=True)


def jit(function):
    """Compile into the kernel that calls: to hand the world over costs more than the work done."""
    return InnerKernel(_compile_inner(forceinline=True)(function))


def jit_apart(function):
    """Compile what hardly ever happens: it stays a call and out of the way."""
    return InnerKernel(_compile_inner()(function))


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


@jit_open
def note(event, x, y, z, place, side, w):
    """Write nothing down: only the plain target keeps a diary."""
    return


@jit_open
def root(x):
    """IEEE square root of a float32."""
    return np.float32(np.sqrt(x))
