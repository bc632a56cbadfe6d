"""One fit a photo from encoded values to CIELAB: tone curve, light field, flare, camera colours, and how dyes differ
from inks, all with covariance. It takes patch samples and reference values; it never looks at pixels."""
