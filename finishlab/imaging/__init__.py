"""From the pixels of a photo to a surface's mean light: the strip, its correction, the surface and its sample."""
