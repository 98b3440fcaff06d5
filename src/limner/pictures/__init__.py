"""Pictures in: a path or an array becomes a decoded, upright, sRGB picture with its limits checked."""
