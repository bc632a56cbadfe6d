"""Photos by physics with known truth: spectra through light, ink, dye and sensor. Nothing of the reader is used but the
card's layout and the strip kinds, and nothing in the reader may depend on this."""

from tests.scenes.photo import Rendered, Truth, render
from tests.scenes.scene import Lying, Scene, random_scene
from tests.scenes.strips import StripState, kind

__all__ = ["Lying", "Rendered", "Scene", "StripState", "Truth", "kind", "random_scene", "render"]
