"""The cuticle of a leaf."""

from canopysim.scene.fields import FacetAngle, Frozen, RefractiveIndex, default


class Cuticle(Frozen):
    """A waxy film on both sides of a leaf, which mirrors more the more light grazes it."""

    index: RefractiveIndex = default("1.45", "Its refractive index.")
    spread: FacetAngle = default(
        "20 deg",
        "Roughness: half of its small facets are tilted by less than this; 0 is flat (assumed).",
    )
