"""Rendered photos with known truth: a scene, the light on it, the camera over it. Nothing here is a real photo."""
